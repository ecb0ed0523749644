"""How warm the motor gets where that was measured on the machine, beside an integration of the heat balance."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from firmware_host.mechanics.motor.heat import cycle_loss, warmest_cycle_loss, winding_rise
from tests.planning.limits.report import named, report
from tests.planning.limits.workshop import DELETE, job, machine


def warmest_by_integration(hot: float, hot_s: float, cold: float, cold_s: float, tau: float) -> float:
    """The warmest moment of dT/dt = (P(t) - T)/tau after many cycles, in W of steady loss."""
    at = cycle_loss(hot, hot_s, cold, cold_s)
    warmest = 0.0
    for _ in range(math.ceil(10 * tau / (hot_s + cold_s))):
        warmest = 0.0
        for loss, span in ((hot, hot_s), (cold, cold_s)):
            if span > 0:
                made = solve_ivp(lambda _, rise, loss=loss: (loss - rise) / tau, (0, span), [at], rtol=1e-9, atol=1e-9)
                at = float(made.y[0, -1])
                warmest = max(warmest, float(np.max(made.y)))
    return warmest


@pytest.mark.parametrize(
    ("hot_s", "cold_s", "tau"),
    [
        pytest.param(2.0, 20.0, 200.0, id="a short cycle"),
        pytest.param(600.0, 2400.0, 1200.0, id="a long one"),
        pytest.param(900.0, 30.0, 300.0, id="mostly hot"),
    ],
)
def test_the_warmest_moment_of_a_cycle_is_that_of_the_integrated_heat_balance(
    hot_s: float, cold_s: float, tau: float
) -> None:
    expected = warmest_by_integration(6.0, hot_s, 1.5, cold_s, tau)
    assert warmest_cycle_loss(6.0, hot_s, 1.5, cold_s, tau) == pytest.approx(expected, rel=1e-4)
    assert warmest_cycle_loss(1.5, cold_s, 6.0, hot_s, tau) == pytest.approx(expected, rel=1e-4)


def test_it_lies_between_the_mean_and_the_greater_loss() -> None:
    mean = cycle_loss(6.0, 10.0, 1.5, 30.0)
    assert warmest_cycle_loss(6.0, 10.0, 1.5, 30.0, 1e7) == pytest.approx(mean, rel=1e-5)
    assert warmest_cycle_loss(6.0, 10.0, 1.5, 30.0, 0.1) == pytest.approx(6.0)
    assert warmest_cycle_loss(6.0, 10.0, 1.5, 0.0, 500.0) == pytest.approx(6.0)


def test_the_resistance_measured_on_the_machine_counts_in_place_of_the_motors_own() -> None:
    measured = report(machine(warming={"thermal_resistance": "4 K/W"}))
    assert named(measured, "heat-holding").value == pytest.approx(winding_rise(4.0, 4.0, 40.0))
    assert named(report(), "heat-holding").value == pytest.approx(winding_rise(4.0, 8.0, 40.0))


def test_what_was_measured_is_not_assumed() -> None:
    bare = machine(motor__thermal_resistance=DELETE)
    known = machine(motor__thermal_resistance=DELETE, warming={"thermal_resistance": "4 K/W"})
    assert "motor.thermal_resistance" in named(report(bare), "heat-holding").assumed
    assert "motor.thermal_resistance" not in named(report(known), "heat-holding").assumed


def test_a_measured_time_constant_makes_a_long_pass_count_by_its_warmest_moment() -> None:
    work = job(gate={"kind": "timed", "duration": "1800 s"})
    hot = {"driver__standstill_current": 1.0, "motor__iron_loss_speed": "100 rpm"}
    mean = named(report(machine(**hot), work), "heat-cycle").value
    quick = named(report(machine(**hot, warming={"time_constant": "60 s"}), work), "heat-cycle").value
    slow = named(report(machine(**hot, warming={"time_constant": "4 h"}), work), "heat-cycle").value
    assert quick > slow > mean * (1 - 1e-9)
    assert not math.isclose(quick, slow, rel_tol=1e-3)


def test_another_motor_is_not_judged_by_what_was_measured_with_the_present_one() -> None:
    rig = machine(warming={"thermal_resistance": "4 K/W"})
    other = rig.motor.model_copy(update={"name": "another"})
    assert rig.with_motor(rig.motor, rig.driver).winding_to_air == rig.warming.thermal_resistance
    assert rig.with_motor(other, rig.driver).winding_to_air == other.thermal_resistance
