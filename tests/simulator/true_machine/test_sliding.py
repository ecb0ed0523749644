"""A part that slides on its rollers: closed forms, and Newton's second law by SciPy."""

from __future__ import annotations

import math
from dataclasses import replace
from random import Random
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from firmware_host.errors import InputError
from firmware_host.mechanics.contact.rollers import Ramp, contact_forces, friction_needed, grip_acceleration
from firmware_host.mechanics.contact.trough import DrivenRows, Trough
from firmware_host.model import Machine, load_machine
from firmware_host.simulator.true_machine.axis import TrueAxis
from firmware_host.simulator.true_machine.field import ramp
from firmware_host.simulator.true_machine.sliding import Sliding, sliding_of
from tests.simulator.true_machine.machines import BELT, true_machine

ROLLERS = load_machine("two-rollers")
TROUGH = Trough(
    mass=0.22, part_inertia=3.4e-4, part_diameter=0.08, roller_diameter=0.0254, centre_distance=0.042,
    idle_row_inertia=1.2e-5, idle_friction_torque=5e-4, lever_arm=0.8e-3,
)  # fmt: skip
PER_PULSE = 2 * math.pi / 20_000
TABLES = {
    "part": {"diameter": "80 mm", "mass": "0.22 kg", "inertia": "3.4 kg*cm^2"},
    "load": {"inertia": "6 kg*cm^2"},
}


def rollers(rows: int) -> Machine:
    return ROLLERS.model_copy(update={"drive": ROLLERS.drive.model_copy(update={"driven_rows": rows})})


def sliding(friction: float, rows: int = 1, **tables: Any) -> Sliding:
    found = sliding_of(true_machine(**(TABLES | {"slip": {"friction": friction}} | tables)), rollers(rows))
    assert found is not None
    return found


def lag(of: Sliding, acceleration: float, speed: float, turns: float, angle: float = 0.0) -> float:
    move = ramp(round(turns * 20_000), acceleration / PER_PULSE, speed / PER_PULSE)
    return of.behind(move, PER_PULSE, angle)


@pytest.mark.parametrize(("share", "slides"), [(0.9, False), (0.99, False), (1.02, True), (1.3, True)])
def test_it_slides_from_the_acceleration_at_which_the_grip_is_used_up(share: float, slides: bool) -> None:
    """It falls behind by v^2/2 (1/A - 1/a) until it has the speed v, the worse way round."""
    friction, speed = 0.2, 2.0
    most = grip_acceleration(TROUGH, friction, ramp=Ramp.UP)
    there = lag(sliding(friction), share * most, speed, 2.0)
    back = lag(sliding(friction), share * most, speed, -2.0)
    expected = speed**2 / 2 * (1 / most - 1 / (share * most)) if slides else 0.0
    assert max(abs(there), abs(back)) == pytest.approx(expected, rel=0.01, abs=1e-9)
    assert there >= 0 >= back


def test_what_it_slides_back_by_it_slides_on_by_where_nothing_rolls_hard() -> None:
    """Both rows driven and no rolling friction: speeding up and braking are alike, and the line comes back."""
    part = {**TABLES["part"], "rolling_resistance": "0.000001 mm"}
    of = sliding(0.2, rows=2, part=part)
    most = grip_acceleration(replace(TROUGH, driven=DrivenRows.BOTH, lever_arm=1e-9), 0.2)
    assert lag(of, 1.5 * most, 2.0, 2.0) == pytest.approx(0.0, abs=1e-3)
    hard = sliding(0.2, rows=2)
    up, down = (grip_acceleration(replace(TROUGH, driven=DrivenRows.BOTH), 0.2, ramp=each) for each in Ramp)
    expected = 2.0**2 / 2 * (1 / up - 1 / down)
    assert lag(hard, 1.5 * down, 2.0, 2.0) == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("rows", [1, 2])
@pytest.mark.parametrize("angle", [0.3, 1.5, 4.0])
def test_newtons_law_by_scipy_says_the_same(rows: int, angle: float) -> None:
    """With an imbalance that gravity pulls at all the way: the equation of the sliding part, integrated by SciPy."""
    friction, imbalance, acceleration, speed = 0.2, 4e-4, 9.0, 2.0
    of = sliding(friction, rows, load={"imbalance_torque": f"{imbalance} N*m"})
    one = rows == 1
    trough = replace(
        TROUGH,
        driven=DrivenRows.ONE if one else DrivenRows.BOTH,
        idle_row_inertia=1.2e-5 if one else 0.0,
        idle_friction_torque=5e-4 if one else 0.0,
    )

    def given(place: float) -> float:
        """What friction gives it at an angle: the least acceleration that needs all of it, from below."""
        accelerations = np.linspace(-30.0, 60.0, 4_001)
        forces = contact_forces(trough, accelerations, imbalance * math.sin(place), 1.0)
        traction, normal = forces.traction_driven, forces.normal_driven
        if not one:
            traction, normal = traction + forces.traction_other, normal + forces.normal_other
        return float(np.interp(0.0, traction - friction * normal, accelerations))

    most = min(given(angle + each) for each in np.linspace(0, 3, 30))
    quick = max(acceleration, 1.2 * most)
    found = lag(of, quick, speed, 2.0, angle)

    def change(time: float, state: Any) -> list[float]:
        rollers = min(quick * time, speed)
        slides = rollers - state[1] > 1e-6 or given(state[0]) < (quick if time < speed / quick else 0.0)
        return [state[1], given(state[0]) if slides else (quick if time < speed / quick else 0.0)]

    end = 2 * 2 * math.pi / speed - 0.0
    through = solve_ivp(change, (0.0, speed / quick), [angle, 0.0], max_step=2e-3, rtol=1e-7)
    rest = solve_ivp(change, (speed / quick, end), through.y[:, -1], max_step=5e-3, rtol=1e-6, events=[caught(speed)])
    behind = np.array([rest.t[-1]]) * speed - speed**2 / (2 * quick) - (rest.y[0, -1] - angle)
    assert found == pytest.approx(float(behind[0]), rel=0.02, abs=1e-3)
    assert found > 0.005


def caught(speed: float) -> Any:
    def event(_: float, state: Any) -> float:
        return float(state[1] - speed)

    event.terminal = True  # type: ignore[attr-defined]
    return event


def test_the_axis_shows_it_at_the_line_on_the_part_and_not_at_the_roller() -> None:
    tables: dict[str, Any] = TABLES | {"slip": {"friction": 0.2}}
    axis = TrueAxis(true_machine(**tables), ROLLERS, Random(1))
    per_pulse = axis.rotor.pulse / axis.rotor.turns
    most = grip_acceleration(TROUGH, 0.2, ramp=Ramp.UP)
    for share in (0.7, 1.4):
        pulses = round(2 / 7 * 2 * math.pi / per_pulse)
        start = axis.part_angle, axis.roller_angle, axis.pulses
        axis.follow(ramp(pulses, share * most / per_pulse, 2.0 / per_pulse, base=axis.pulses, start_s=10.0 * share))
        turned, rolled = axis.part_angle - start[0], axis.roller_angle - start[1]
        expected = 2.0**2 / 2 * (1 / most - 1 / (share * most)) if share > 1 else 0.0
        assert pulses * per_pulse - turned == pytest.approx(expected, rel=0.02, abs=1e-3)
        assert rolled == pytest.approx(pulses * per_pulse * 80 / 25.4, abs=2e-3)


@pytest.mark.parametrize(
    ("tables", "problem"),
    [
        ({"slip": {"friction": 0.2}, "part": {"diameter": "80 mm"}}, "its mass and its inertia"),
        ({"slip": {"friction": 0.01}}, "does not turn the part at all"),
    ],
)
def test_what_can_not_be_worked_out_is_said(tables: dict[str, Any], problem: str) -> None:
    with pytest.raises(InputError, match=problem):
        sliding_of(true_machine(**(TABLES | tables)), ROLLERS)


def test_a_chuck_has_no_rollers_to_slide_on() -> None:
    with pytest.raises(InputError, match="the machine has none"):
        sliding_of(true_machine(slip={"friction": 0.2}), BELT)


def test_without_a_friction_nothing_slides() -> None:
    assert sliding_of(true_machine(**TABLES), ROLLERS) is None
    assert float(friction_needed(TROUGH, 5.0)) > 0
