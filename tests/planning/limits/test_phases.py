"""Torque, heat and supply of one verdict go by the same currents of the phases; not stated, each by the unkind one."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from firmware_host.model.files.loading import load_job
from firmware_host.model.machine.driver import Driver
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.plan import plan_job
from tests.planning.limits.report import named, report
from tests.planning.limits.workshop import DELETE, machine


def rise(loss: float, thermal: float = 8.0) -> float:
    """By hand: copper 3.93e-3/K from 20 degC, air of 40 degC (IEC 60028)."""
    cold = loss * thermal
    return cold * 1.0786 / (1 - 3.93e-3 * cold)


def test_full_steps_of_the_belt_chuck_overheat_its_motor_at_rated_current() -> None:
    # 2 * 2.8^2 * 0.95 = 14.90 W through 6 K/W, by hand: 148.6 K, where 90 K are left.
    setup = load_job("shaft-scale")
    driver = setup.machine.driver.model_dump() | {"microsteps": 1, "current": "2.8 A"}
    rig = setup.machine.model_copy(update={"driver": Driver.model_validate(driver)})
    check = named(plan_job(replace(setup, machine=rig)).limits, "heat-holding")
    assert check.value == pytest.approx(148.6, abs=0.05)
    assert check.limit == pytest.approx(90.0)
    assert check.verdict is Verdict.FAILS


@pytest.mark.parametrize(
    ("microsteps", "shaped", "holding", "torque"),
    [
        pytest.param(1, False, 8.0, 1.0, id="full steps"),
        pytest.param(1, True, 4.0, math.sqrt(0.5), id="shaped full steps"),
        pytest.param(1, None, 8.0, math.sqrt(0.5), id="full steps, shaping not stated"),
        pytest.param(2, False, 8.0, math.sqrt(0.5), id="half steps"),
        pytest.param(2, True, 4.0, math.sqrt(0.5), id="shaped half steps"),
        pytest.param(4, False, 4.0, math.sqrt(0.5), id="microsteps"),
    ],
)
def test_heat_supply_and_holding_torque_follow_the_phases(
    microsteps: int, shaped: bool | None, holding: float, torque: float
) -> None:
    # 2 A in 1 ohm a phase: 4 W, or 8 W with both phases on; 1 N m of holding torque is with both on.
    found = report(machine(driver__microsteps=microsteps, driver__current_shaped=shaped))
    assert named(found, "heat-holding").value == pytest.approx(rise(holding))
    limit = named(found, "holding-torque").limit
    assert limit == pytest.approx(torque / 2)
    speed = 4 * math.sqrt(2 * math.pi / 12 * 60)
    needed = named(found, "torque-accelerating").value
    assert needed is not None
    assert named(found, "supply-current").value == pytest.approx((needed * speed + holding) / 24)


def test_half_steps_heat_by_their_mean_while_moving() -> None:
    found = report(machine(driver__microsteps=2, driver__current_shaped=False, motor__iron_loss_speed="1e8 rpm"))
    assert named(found, "heat-cycle").value == pytest.approx(rise(6.0), rel=1e-4)


def test_iron_loss_warms_a_motor_that_turns() -> None:
    # 4 W of copper loss at the rated current. A triangle of 30 deg, geared 4:1: its mean speed is half of its peak.
    found = report(machine(motor__iron_loss_speed="800 rpm"))
    mean = 4 * math.sqrt(2 * math.pi / 12 * 60) / 2
    assert named(found, "heat-cycle").value == pytest.approx(rise(4.0 * (1 + mean * 60 / (2 * math.pi) / 800)))
    assert named(found, "heat-holding").value == pytest.approx(rise(4.0))


def test_above_the_speed_of_equal_losses_iron_loss_goes_with_the_square() -> None:
    # The same triangle, summed up instant by instant: the mean of the square lies below the figure counted.
    peak = 4 * math.sqrt(2 * math.pi / 12 * 60) * 60 / (2 * math.pi)
    shares = [peak * (i + 0.5) / 1000 / 60 for i in range(1000)]
    exact = rise(4.0 * (1 + sum(max(x, x * x) for x in shares) / 1000), thermal=1.0)
    counted = rise(4.0 * (1 + peak / 2 / 60 * peak / 60), thermal=1.0)
    assert exact < counted
    found = report(machine(motor__iron_loss_speed="60 rpm", motor__thermal_resistance="1 K/W"))
    assert named(found, "heat-cycle").value == pytest.approx(counted)


def test_an_iron_loss_that_is_not_stated_counts_as_of_500_hertz() -> None:
    # The unkind end of 500 to 1700 Hz, of 50 teeth: 600 rpm, from memory.
    stated = named(report(machine(motor__iron_loss_speed="600 rpm")), "heat-cycle").value
    found = named(report(machine(motor__iron_loss_speed=DELETE)), "heat-cycle")
    assert found.value == pytest.approx(stated)
    assert found.assumed == ("motor.iron_loss_speed",)
