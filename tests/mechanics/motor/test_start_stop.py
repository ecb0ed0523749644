"""The start-stop rate: the energy's closed form against the equation of motion, and against itself."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.motor.start_stop import jump_swing, start_stop_rate_with_load, start_stop_speed

TEETH, TORQUE, INERTIA = 50, 0.4, 5e-5


def follows(jump: float, load: float, off: float) -> bool:
    """Whether the rotor stays within half an electrical turn behind a field that sets off at `jump` (rad/s)."""

    def motion(_: float, state: np.ndarray) -> list[float]:
        return [float(state[1]), (load - TORQUE * math.sin(TEETH * float(state[0]))) / INERTIA]

    natural = math.sqrt(TEETH * TORQUE / INERTIA)
    found = solve_ivp(motion, (0.0, 30 / natural), [-off, jump], rtol=1e-10, atol=1e-12, max_step=0.05 / natural)
    return bool(np.max(TEETH * found.y[0]) < math.pi + 1e-6)


@pytest.mark.some(4)
@pytest.mark.parametrize("load", [0.0, 0.05, 0.15, 0.2], ids=lambda load: f"load {load} N m")
@pytest.mark.parametrize("off", [0.0, 0.1, 0.5], ids=lambda off: f"{off} rad of the field ahead")
def test_a_rotor_follows_the_step_of_speed_below_the_start_stop_rate_and_none_above(load: float, off: float) -> None:
    """Outside source: the equation of motion, integrated with SciPy."""
    most = float(start_stop_speed(TEETH, TORQUE, INERTIA, load, off / TEETH))
    assert most > 0
    assert follows(0.99 * most, load, off / TEETH)
    assert not follows(1.01 * most, load, off / TEETH)


def test_a_bare_rotor_follows_a_step_of_twice_its_natural_frequency_over_its_teeth() -> None:
    natural = math.sqrt(TEETH * TORQUE / INERTIA)
    assert float(start_stop_speed(TEETH, TORQUE, INERTIA, 0.0, 0.0)) == pytest.approx(2 * natural / TEETH)


def test_what_the_motor_cannot_bear_starts_at_no_speed() -> None:
    assert float(start_stop_speed(TEETH, TORQUE, INERTIA, TORQUE, 0.0)) == 0
    assert float(start_stop_speed(TEETH, TORQUE, INERTIA, 0.1, math.pi / 2 / TEETH)) == 0


def test_more_load_and_a_place_further_off_never_raise_the_start_stop_rate() -> None:
    loads = np.linspace(0.0, 1.1 * TORQUE, 200)
    for off in (0.0, 0.01, 0.03):
        assert (np.diff(start_stop_speed(TEETH, TORQUE, INERTIA, loads, off)) <= 0).all()
    off_its_place = np.linspace(0.0, math.pi / 2 / TEETH, 200)
    assert (np.diff(start_stop_speed(TEETH, TORQUE, INERTIA, 0.1, off_its_place)) <= 0).all()


def test_a_load_of_three_rotors_halves_the_start_stop_rate() -> None:
    """Worked by hand: sqrt(1 + 3) = 2; the energy of the motion says the same of four times the inertia."""
    assert start_stop_rate_with_load(1200.0, 3e-6, 9e-6) == pytest.approx(600.0)
    bare, loaded = (float(start_stop_speed(TEETH, TORQUE, each, 0.0, 0.0)) for each in (3e-6, 12e-6))
    assert loaded == pytest.approx(bare / 2)


def test_a_step_of_speed_swings_by_its_speed_times_the_natural_frequency() -> None:
    """Outside source: the linear equation of motion, integrated with SciPy."""
    natural, jump = 400.0, 0.3
    found = solve_ivp(lambda _, s: [s[1], -(natural**2) * s[0]], (0, 0.02), [0.0, jump], rtol=1e-9, max_step=1e-4)
    assert natural**2 * np.abs(found.y[0]).max() == pytest.approx(float(jump_swing(natural, jump)), rel=1e-3)


def test_a_rotor_without_inertia_is_no_rotor() -> None:
    with pytest.raises(FormulaRangeError, match="inertia"):
        start_stop_speed(TEETH, TORQUE, 0.0, 0.0, 0.0)
