"""The step grid against Python's exact fractions."""

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from firmware_host.errors import PlanError
from firmware_host.planning import steps
from firmware_host.planning.steps import round_half_even, round_progression

TINY = Fraction(1, 10**30)


def exact(first: Fraction, step: Fraction, count: int) -> list[int]:
    """Outside source: round() of Python's Fraction, ties to even."""
    return [round(first + k * step) for k in range(count)]


fractions = st.one_of(
    st.fractions(min_value=-(10**6), max_value=10**6, max_denominator=1000),
    st.fractions(min_value=-(10**6), max_value=10**6),
    st.builds(Fraction, st.integers(-(10**40), 10**40), st.integers(10**35, 10**38)),
    # Ties, and what lies so near a tie that no float can tell.
    st.builds(
        lambda whole, half, sign, off: Fraction(whole) + Fraction(half, 2) + sign * off,
        st.integers(-(10**6), 10**6),
        st.integers(0, 1),
        st.sampled_from([-1, 0, 1]),
        st.sampled_from([TINY, Fraction(1, 2**64), Fraction(1, 2**70), Fraction(1, 10**200)]),
    ),
)


@settings(max_examples=75, deadline=None)
@given(first=fractions, step=fractions, count=st.integers(0, 400))
@example(first=Fraction(1, 2) + TINY, step=Fraction(1), count=5)
@example(first=Fraction(1, 2) - TINY, step=Fraction(1), count=5)
@example(first=Fraction(-1, 2), step=Fraction(-1), count=5)
@example(first=Fraction(1, 2), step=TINY, count=5)
@example(first=Fraction(1, 2) - 3 * TINY, step=TINY, count=7)
@example(first=Fraction(1, 3**40), step=Fraction(1, 2), count=9)
@example(first=Fraction(2**61 - 1), step=Fraction(0), count=3)
@example(first=Fraction(1, 9223879350153), step=Fraction(999990), count=0)
def test_every_target_is_the_exact_one(first: Fraction, step: Fraction, count: int) -> None:
    assert round_progression(first, step, count).tolist() == exact(first, step, count)


@settings(max_examples=25, deadline=None)
@given(first=fractions, step=fractions, count=st.integers(1, 300))
def test_the_way_with_binary_places_gives_what_the_exact_way_gives(first: Fraction, step: Fraction, count: int) -> None:
    rows = np.arange(count, dtype=np.int64)
    by_places = steps._round_fixed_point(first, step, count)
    assert by_places.tolist() == [int(target) for target in steps._round_exactly(first, step, rows)]


@pytest.mark.parametrize(
    ("first", "step"),
    [
        pytest.param(Fraction(3, 7), Fraction(2_560_000, 127 * 999_983), id="roller-pitch"),
        # pi to 100 decimals in the pitch: the arc of a chuck's segment, settled by 64 binary places.
        pytest.param(Fraction(0), Fraction(9600 * 10**100, int(math.pi * 10**15) * 10**85 * 7919), id="arc-pitch"),
        pytest.param(Fraction(-(10**12)) + TINY, Fraction(3, 2) + TINY, id="ties-missed-by-a-hair"),
        pytest.param(Fraction(10**9), Fraction(-1, 2), id="ties-falling"),
    ],
)
def test_a_million_targets_are_exact_in_rows_taken_at_random(first: Fraction, step: Fraction) -> None:
    count = 1_000_000
    targets = round_progression(first, step, count)
    assert targets.dtype == np.int64
    assert targets.shape == (count,)
    rows = np.random.default_rng(11).integers(0, count, 3000).tolist()
    rows += [0, 1, count - 2, count - 1]
    assert [int(targets[k]) for k in rows] == [round(first + k * step) for k in rows]


def test_the_error_never_grows_with_the_number_of_segments() -> None:
    # A ratio that no float holds: 200*32*80/25.4 microsteps per turn, a thousand turns of 360 segments.
    per_turn = Fraction(2_560_000, 127)
    targets = round_progression(Fraction(0), per_turn / 360, 360_000)
    ends = targets[np.arange(0, 360_000, 360)]
    assert max(abs(int(end) - turn * per_turn) for turn, end in enumerate(ends)) <= Fraction(1, 2)
    summed = 360_000 * round(per_turn / 360)
    assert abs(summed - 1000 * per_turn) > 1000


@pytest.mark.parametrize(
    ("value", "rounded"),
    [(Fraction(1, 2), 0), (Fraction(3, 2), 2), (Fraction(-1, 2), 0), (Fraction(-3, 2), -2), (Fraction(5, 2) + TINY, 3)],
    ids=str,
)
def test_one_target_rounds_ties_to_even(value: Fraction, rounded: int) -> None:
    assert round_half_even(value) == rounded


@pytest.mark.parametrize(
    ("first", "step"),
    [
        pytest.param(Fraction(2**70), Fraction(0), id="far-start"),
        pytest.param(Fraction(0), Fraction(2**52), id="far-end"),
        pytest.param(Fraction(0), Fraction(-(2**52)) - Fraction(1, 3**50), id="far-end-with-a-huge-denominator"),
    ],
)
def test_a_target_that_no_integer_holds_is_refused(first: Fraction, step: Fraction) -> None:
    with pytest.raises(
        PlanError, match=r"farthest target: .* microsteps, limit 2\.30584e\+18 microsteps\. Check gearing"
    ):
        round_progression(first, step, 1000)
