"""Frequency and damping of counted swings, beside SciPy's fit and its integration, and draws (JCGM 101:2008)."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from scipy import integrate, optimize

from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.commissioning.estimates.swings import (
    Counted,
    damped_frequency,
    damping_ratio,
    decay_rate,
    natural_frequency,
)
from firmware_host.errors import FormulaRangeError


def swung(times: np.ndarray, size: float, natural: float, zeta: float) -> np.ndarray:
    damped = math.sqrt(1 - zeta**2)
    out: np.ndarray = size * np.exp(-zeta * natural * times) * np.cos(natural * damped * times)
    return out


@pytest.mark.parametrize("zeta", [0.02, 0.1, 0.3])
def test_frequency_and_damping_are_those_that_scipy_fits_to_the_whole_swing(zeta: float) -> None:
    natural = 2 * math.pi * 70.0
    times = np.linspace(0, 0.06, 400)
    (size, fitted, fitted_zeta), _ = optimize.curve_fit(swung, times, swung(times, 3.0, natural, zeta), (2.5, 420, 0.1))
    period = 2 * math.pi / (natural * math.sqrt(1 - zeta**2))
    first, last = (float(swung(np.array([each]), 3.0, natural, zeta)[0]) for each in (0.0, 2 * period))
    counted = [Counted(2, 2 * period, first, last)]
    damping = damping_ratio(counted)
    assert damping is not None
    assert damping.value == pytest.approx(fitted_zeta, rel=1e-6)
    found = natural_frequency(damped_frequency(counted, 1e-5), damping, 0.0, 2)
    assert found.value == pytest.approx(fitted / (2 * math.pi), rel=1e-6)
    assert size == pytest.approx(3.0)


@pytest.mark.parametrize("widest", [0.2, 0.5])
def test_wide_swings_on_the_motors_curve_are_counted_as_slower_as_the_integrated_rotor_makes_them(
    widest: float,
) -> None:
    """e'' + 2 zeta w e' + w^2 sin(e) = 0 from `widest`, two swings: within the correction's own uncertainty."""
    natural, zeta = 2 * math.pi * 50.0, 0.08
    crossings = integrate.solve_ivp(
        lambda _, e: [e[1], -2 * zeta * natural * e[1] - natural**2 * math.sin(e[0])],
        (0, 0.1),
        [widest, 0.0],
        events=lambda _, e: e[0],
        rtol=1e-9,
        atol=1e-12,
    ).t_events[0]
    damped = Measured(2 / (crossings[4] - crossings[0]), 1e-9)
    found = natural_frequency(damped, Measured(zeta, 1e-9), widest, 2)
    assert abs(found.value - 50.0) <= found.within
    assert found.within / 50.0 < 0.006
    assert abs(natural_frequency(damped, Measured(zeta, 1e-9), 0.0, 2).value - 50.0) > abs(found.value - 50.0)


def film(rng: random.Random, natural: float, zeta: float, rate: float, swings: int) -> Counted:
    """A person counts frames of a film that began anyhow, and reads sizes to a twentieth of the first."""
    period = 1 / (natural * math.sqrt(1 - zeta**2))
    began = rng.random()
    frames = round((began + swings * period) * rate) - round(began * rate)
    last = math.exp(-2 * math.pi * zeta * natural * swings * period) + rng.uniform(-0.05, 0.05)
    return Counted(swings, frames / rate, 1 + rng.uniform(-0.05, 0.05), max(last, 0.0))


@pytest.mark.parametrize("films", [2, 3, 5, 8])
def test_the_intervals_hold_frequency_and_damping_in_nineteen_of_twenty_draws(films: int) -> None:
    rng, draws = random.Random(films), 600
    held = held_damping = seen = 0
    for _ in range(draws):
        natural, zeta = rng.uniform(30, 120), rng.uniform(0.03, 0.15)
        rate, swings = rng.choice((240, 480, 960)), rng.choice((2, 3, 4))
        counted = [film(rng, natural, zeta, rate, swings) for _ in range(films)]
        damping = damping_ratio(counted)
        frequency = natural_frequency(damped_frequency(counted, 0.5 / rate), damping or Measured(0.1, 0.03), 0, swings)
        held += frequency.lowest <= natural <= frequency.highest
        if damping is not None:
            seen += 1
            held_damping += damping.lowest <= zeta <= damping.highest
    assert 0.9 * draws <= held <= 0.99 * draws
    assert 0.9 * seen <= held_damping <= 0.99 * seen


def test_more_films_and_more_swings_show_it_better() -> None:
    within = [
        damped_frequency([Counted(swings, swings / 70)] * films, 1 / 480).within
        for films, swings in ((2, 2), (8, 2), (8, 4))
    ]
    assert within[0] > 1.8 * within[1] > 3.0 * within[2]


@pytest.mark.parametrize(("first", "last"), [(0.0, 0.0), (3.0, 0.0), (2.0, 2.5)])
def test_swings_whose_sizes_were_not_seen_or_grow_tell_no_damping(first: float, last: float) -> None:
    assert damping_ratio([Counted(2, 0.1, first, last)]) is None


@pytest.mark.parametrize(("swings", "time"), [(0.0, 0.1), (2.0, 0.0), (2.0, -0.1), (math.inf, 0.1)])
def test_nothing_counted_is_refused(swings: float, time: float) -> None:
    with pytest.raises(FormulaRangeError, match=r"above nothing|Read it again"):
        Counted(swings, time)


def test_the_waves_of_marks_tell_how_soon_it_dies_away() -> None:
    settle = [0.0, 0.02, 0.05, 0.1]
    found = decay_rate(settle, [0.2e-3 * math.exp(-30 * each) for each in settle], 1e-6)
    assert found.value == pytest.approx(30.0, rel=1e-9)
    slope, _ = np.polyfit(settle, [-30 * each for each in settle], 1)
    assert -slope == pytest.approx(found.value)


def test_the_interval_of_waves_holds_in_nineteen_of_twenty_draws() -> None:
    rng, draws, held = random.Random(5), 600, 0
    for _ in range(draws):
        rate = rng.uniform(10, 60)
        settle = [each / rate for each in (0.0, 0.4, 0.8, 1.2, 1.6)]
        waves = [0.4e-3 * math.exp(-rate * each) + rng.uniform(-0.02e-3, 0.02e-3) for each in settle]
        found = decay_rate(settle, waves, 0.02e-3)
        held += found.lowest <= rate <= found.highest
    assert 0.9 * draws <= held <= 0.99 * draws


@pytest.mark.parametrize(
    ("settle", "waves"),
    [
        pytest.param([0.0, 0.1], [1e-3, 0.5e-3], id="two marks"),
        pytest.param([0.1, 0.1, 0.1], [1e-3, 1e-3, 1e-3], id="all at one time"),
        pytest.param([0.0, 0.1, 0.2], [1e-3, 0.5e-3, 0.0], id="a mark without waves"),
    ],
)
def test_marks_that_tell_nothing_are_refused(settle: list[float], waves: list[float]) -> None:
    with pytest.raises(FormulaRangeError, match="three settle times or more"):
        decay_rate(settle, waves, 1e-6)
