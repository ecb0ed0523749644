"""The window that a ladder's readings leave open, beside draws (JCGM 101:2008) and on windows that are hidden."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import numpy as np
import pytest

from firmware_host.commissioning.estimates.window import EYE, Seen, WindowFound, window_of
from firmware_host.errors import FormulaRangeError

RADIUS, STEP = 25e-3, 0.1e-3
RUNGS = 24


def depth(x: float, beside: float) -> float:
    """How deep the surface lies at `x` from the middle of the field: circle geometry."""
    return RADIUS - math.sqrt(RADIUS**2 - (x - beside) ** 2)


def drawn(side: int, rung: int) -> float:
    return side * math.sqrt(2 * RADIUS * rung * STEP - (rung * STEP) ** 2)


def read(rng: random.Random, half: float, middle: float, beside: float, eye: float) -> list[Seen]:
    """Three ladders, both sides of each, as a person sees them; depths in steps."""
    seen = []
    for _ in range(3):
        for side in (1, -1):
            top, bottom = (STEP * (middle + sign * half + rng.gauss(0, eye)) for sign in (-1, 1))
            good = [k for k in range(RUNGS + 1) if top <= depth(drawn(side, k), beside) <= bottom]
            seen.append(Seen(side, good[0], good[-1]))
    return seen


def test_what_is_left_is_what_draws_of_all_windows_leave() -> None:
    """Windows, eyes and places of the crown are drawn; those that would have been read so are kept, others thrown away.

    One ladder, rungs 7 to 13 good to the right and 7 to 14 to the left.
    """
    seen, rng, draws = [Seen(1, 7, 13), Seen(-1, 7, 14)], np.random.default_rng(1), 1_500_000
    told = window_of(seen, RADIUS, STEP)
    top, bottom = rng.uniform(4.5 * STEP, 8.5 * STEP, draws), rng.uniform(11.5 * STEP, 16.5 * STEP, draws)
    slope = math.sin(math.acos(1 - 14 * STEP / RADIUS))
    beside = rng.uniform(-2, 2, draws) * STEP / slope + (drawn(1, 13) - drawn(1, 14)) / 4
    beside[rng.random(draws) < 0.5] = 0.0
    eyes = rng.choice([size for size, _ in EYE], draws, p=[share for _, share in EYE]) * STEP
    kept = np.ones(draws, dtype=bool)
    for each in seen:
        for end, above in ((top, each.first - 1), (bottom, each.last)):
            looked = end + rng.logistic(0, 1, draws) * eyes * math.sqrt(3) / math.pi
            high, low = (
                RADIUS - np.sqrt(RADIUS**2 - (drawn(each.side, rung) - beside) ** 2) for rung in (above, above + 1)
            )
            kept &= (high < looked) & (looked <= low)
    assert kept.sum() > 2500
    for found, values in ((told.half, (bottom - top) / 2), (told.middle, (bottom + top) / 2)):
        left = values[kept]
        assert found.value == pytest.approx(left.mean(), abs=0.02 * STEP)
        assert found.deviation == pytest.approx(left.std(), rel=0.07)
        assert (found.lowest, found.highest) == pytest.approx(np.quantile(left, (0.025, 0.975)), abs=0.05 * STEP)
    aside = beside[kept & (beside != 0)]
    assert told.beside.value == pytest.approx(aside.mean(), abs=0.05 * STEP / slope)
    assert told.beside.deviation == pytest.approx(aside.std(), rel=0.07)


Draw = Callable[[random.Random], float]
PEOPLE: dict[str, tuple[Draw, Draw]] = {
    "a perfect eye, the crown in the middle": (lambda rng: 0.0, lambda rng: 0.0),
    "a perfect eye, the crown a little beside": (lambda rng: 0.0, lambda rng: rng.gauss(0, 0.05e-3)),
    "a fine eye": (lambda rng: rng.uniform(0, 0.05), lambda rng: rng.gauss(0, 0.05e-3)),
    "a coarse eye, the crown far beside": (lambda rng: 0.4, lambda rng: rng.gauss(0, 0.3e-3)),
}


@pytest.mark.parametrize("cases", [pytest.param(25, id="25"), pytest.param(500, id="500", marks=pytest.mark.slow)])
@pytest.mark.parametrize("who", PEOPLE)
def test_the_intervals_hold_what_is_hidden_in_nineteen_ladders_of_twenty(who: str, cases: int) -> None:
    eye, aside = PEOPLE[who]
    rng, held = random.Random(11), dict.fromkeys(WindowFound.__annotations__, 0)
    for _ in range(cases):
        half, middle, beside = rng.uniform(2.5, 8), 10 + rng.uniform(-1, 1), aside(rng)
        found = window_of(read(rng, half, middle, beside, eye(rng)), RADIUS, STEP)
        true = {"half": half * STEP, "middle": middle * STEP, "beside": beside}
        for key, value in true.items():
            measured = getattr(found, key)
            held[key] += measured.lowest <= value <= measured.highest
    low, high = (0.9, 0.995) if cases >= 500 else (0.76, 1.0)
    assert all(low <= held[key] / cases <= high for key in ("half", "middle")), held
    assert held["beside"] >= (0.88 if cases >= 500 else 0.76) * cases, held


def test_an_interval_is_never_without_width_and_a_finer_ladder_narrows_it() -> None:
    alike = [Seen(side, 5, 15) for side in (1, -1)] * 3
    coarse, fine = window_of(alike, RADIUS, STEP), window_of(alike, RADIUS, STEP / 4)
    assert 0.3 * STEP < coarse.half.within < 0.5 * STEP
    assert fine.half.within == pytest.approx(coarse.half.within / 4, rel=0.1)
    assert coarse.half.value == pytest.approx(5.5 * STEP, abs=0.05 * STEP)
    assert coarse.beside.value == pytest.approx(0.0, abs=1e-9)


def test_readings_that_no_window_explains_leave_a_wide_interval() -> None:
    seen = [Seen(1, 4, 15), Seen(-1, 8, 12), Seen(1, 6, 16), Seen(-1, 5, 11)]
    assert window_of(seen, RADIUS, STEP).half.within > 0.6 * STEP


@pytest.mark.parametrize("seen", [[], [Seen(1, 0, 5)], [Seen(1, 6, 5)]], ids=["none", "the crown is good", "backwards"])
def test_readings_that_show_no_end_are_refused(seen: list[Seen]) -> None:
    with pytest.raises(FormulaRangeError, match="first good rung and the last"):
        window_of(seen, RADIUS, STEP)
