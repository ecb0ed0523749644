"""Predicted beside measured: what a machine's file says was measured changes, beside the same machine without it."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from firmware_host.model import load_job
from firmware_host.model.machine.ramp import Ramp
from firmware_host.model.machine.swing import Swing
from firmware_host.model.machine.warming import Warming
from firmware_host.planning.compare.measured import Beside, not_measured, predicted_beside_measured
from firmware_host.planning.load.case import load_case
from firmware_host.planning.plan import plan_job


def beside(**measured: object) -> dict[str, Beside]:
    setup = load_job("shaft-scale")
    setup = replace(setup, machine=setup.machine.model_copy(update=measured))
    return {each.name: each for each in predicted_beside_measured(setup, plan_job(setup))}


def test_of_a_machine_that_nobody_measured_there_is_nothing_to_compare() -> None:
    assert beside() == {}


def test_a_measured_swing_stands_beside_what_the_motors_torque_makes_of_it() -> None:
    setup = load_job("shaft-scale")
    natural = load_case(setup.machine, setup.job).natural_frequency / (2 * math.pi)
    swing = Swing.model_validate(
        {"frequency": f"{natural:.6g} Hz", "frequency_uncertainty": 0.02, "damping_ratio": 0.1}
    )
    found = beside(swing=swing)
    frequency = found["natural frequency"]
    assert frequency.predicted == pytest.approx((0.9 * natural, 1.1 * natural)), "a computed one is known to a tenth"
    low, high = frequency.measured
    assert (high - low) / (high + low) < 0.1, "a measured one is known better"
    damping = found["damping ratio"]
    assert damping.predicted == (0.05, 0.2)
    assert damping.measured == pytest.approx((0.08, 0.12))
    assert "an index with its settling" in found


def test_a_measured_ramp_and_warming_stand_beside_what_limits_would_allow() -> None:
    setup = load_job("shaft-scale")
    motion = plan_job(setup).limits.motion
    ramp = Ramp.model_validate({"acceleration": "40 deg/s^2", "speed": "30 deg/s"})
    found = beside(ramp=ramp, warming=Warming.model_validate({"thermal_resistance": "9 K/W"}))
    acceleration = found["largest acceleration of the part"]
    assert acceleration.predicted[0] == pytest.approx(math.degrees(motion.acceleration))
    assert acceleration.measured[0] <= 40.0 * (1 + 1e-12)
    assert found["highest speed of the part"].measured == pytest.approx((30.0, 30.0))
    index = found["an index with its settling"]
    assert index.measured[0] > index.predicted[0], "a gentler ramp takes longer"
    warm = found["the winding over the hottest air"]
    assert warm.measured[0] > warm.predicted[0] > 0


def test_without_what_was_measured_the_machine_is_as_it_is_described() -> None:
    machine = load_job("heavy-shaft").machine
    measured = machine.model_copy(
        update={"ramp": Ramp.model_validate({"acceleration": "1 rad/s^2", "speed": "1 rad/s"})}
    )
    assert not_measured(measured) == machine
