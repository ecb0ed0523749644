"""Inertia from swings, run-downs and rings: closed forms, an integrated pendulum, and Monte Carlo (JCGM 101)."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy import constants
from scipy.integrate import solve_ivp

from firmware_host.commissioning.estimates.inertia import (
    by_bifilar,
    by_pendulum,
    by_ring,
    by_run_down,
    period,
    ring_inertia,
)
from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.errors import FormulaRangeError

G = constants.g


def exact(value: float) -> Measured:
    return Measured(value, 0.0)


def swing_time(inertia: float, torque: float, own: float, own_at: float, half_width: float) -> float:
    """Period (s) of J a = -M sin(x) - U sin(x + at) about its own rest, integrated (SciPy)."""
    rest = math.atan2(-own * math.sin(own_at), torque + own * math.cos(own_at))

    def rates(_: float, state: np.ndarray) -> list[float]:
        x, v = state
        return [v, -(torque * math.sin(x) + own * math.sin(x + own_at)) / inertia]

    def crosses(_: float, state: np.ndarray) -> float:
        return float(state[0] - rest)

    crosses.direction = -1.0  # type: ignore[attr-defined]
    made = solve_ivp(rates, (0, 60), [rest + half_width, 0.0], events=crosses, rtol=1e-10, atol=1e-12)
    first, second = made.t_events[0][:2]
    return float(second - first)


@pytest.mark.some(1)
@pytest.mark.parametrize("own_at", [0.0, 1.0, 2.5], ids=["below", "aside", "above"])
def test_the_pendulum_finds_the_inertia_of_a_body_that_is_out_of_balance_itself(own_at: float) -> None:
    inertia, mass, arm, own = 6e-4, 0.3, 0.06, 0.012
    whole, torque = inertia + mass * arm**2, mass * G * arm
    times = [swing_time(whole, torque, own, at, 0.03) for at in (own_at, own_at + math.pi)]
    periods = [period([each], 1.0, 0.03, 0.0) for each in times]
    found = by_pendulum(exact(mass), exact(arm), *periods)
    assert found.value == pytest.approx(inertia, rel=0.02)
    alone = mass * G * arm * (times[0] / 2 / math.pi) ** 2 - mass * arm**2
    assert abs(alone / inertia - 1) > 0.02 or own_at == 1.0


@pytest.mark.some(1)
@pytest.mark.parametrize("half_width", [0.1, 0.3, 0.6])
def test_a_wide_swing_is_brought_back_to_the_period_of_a_small_one(half_width: float) -> None:
    small = 2 * math.pi * math.sqrt(2e-3 / 0.2)
    took = swing_time(2e-3, 0.2, 0.0, 0.0, half_width)
    assert period([took], 1.0, half_width, 0.0).value == pytest.approx(small, rel=5e-4)
    assert took > small * (1 + half_width**2 / 20)


def test_ten_swings_are_timed_ten_times_as_well() -> None:
    assert period([12.0], 10.0, 0.0, 0.2).deviation == pytest.approx(0.2 / math.sqrt(3) / 10)


def test_a_disc_on_two_cords_has_its_closed_form() -> None:
    """A disc of 2 kg and 200 mm: J = m D^2/8 = 0.01. On cords 150 mm apart, 1 m long: w^2 = m g d^2/(4 L J)."""
    inertia = 2.0 * 0.2**2 / 8
    took = 2 * math.pi / math.sqrt(2.0 * G * 0.15**2 / (4 * 1.0 * inertia))
    found = by_bifilar(exact(2.0), exact(0.15), exact(1.0), exact(took))
    assert found.value == pytest.approx(inertia)


def test_a_run_down_under_dry_friction_has_its_closed_form() -> None:
    times = [0.0, 1.0, 2.0, 3.0]
    found, line = by_run_down(times, [30.0 - 0.05 / 4e-3 * t / 10 for t in times], exact(0.005), 0.1)
    assert found.value == pytest.approx(4e-3)
    assert line.scatter < 1e-9
    with pytest.raises(FormulaRangeError, match="Read over a longer time"):
        by_run_down(times, [30.0, 30.0, 30.0, 30.0], exact(0.05), 0.1)


def test_a_ring_of_the_same_inertia_lowers_the_frequency_by_the_root_of_two() -> None:
    ring = ring_inertia(exact(0.5), exact(0.1), exact(0.08))
    assert ring.value == pytest.approx(0.5 * (0.05**2 + 0.04**2) / 2)
    found = by_ring(ring, exact(40.0), exact(40.0 / math.sqrt(2)))
    assert found.value == pytest.approx(ring.value)
    with pytest.raises(FormulaRangeError, match="heavier ring"):
        by_ring(ring, exact(40.0), exact(40.0))


Law = Callable[..., Measured]


@pytest.mark.parametrize(
    ("law", "inputs"),
    [
        pytest.param(by_pendulum, ((0.3, 0.001), (0.06, 2e-4), (0.62, 0.002), (0.66, 0.002)), id="pendulum"),
        pytest.param(by_bifilar, ((2.0, 0.005), (0.15, 3e-4), (1.0, 1e-3), (1.8, 0.01)), id="two cords"),
        pytest.param(ring_inertia, ((0.5, 0.002), (0.1, 2e-4), (0.08, 2e-4)), id="ring"),
        pytest.param(by_ring, ((2.6e-4, 1e-6), (42.0, 0.1), (33.0, 0.1)), id="two frequencies"),
    ],
)
def test_the_budget_of_each_law_is_that_of_a_monte_carlo(law: Law, inputs: tuple[tuple[float, float], ...]) -> None:
    """JCGM 101: every input drawn from its normal distribution, and the law worked out anew."""
    rng = np.random.default_rng(5)
    told = law(*(Measured(value, deviation) for value, deviation in inputs))
    drawn = [law(*(exact(float(rng.normal(*each))) for each in inputs)).value for _ in range(3000)]
    assert told.value == pytest.approx(np.mean(drawn), rel=2e-3)
    assert told.deviation == pytest.approx(np.std(drawn), rel=0.06)
