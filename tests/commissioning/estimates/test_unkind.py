"""Readings that nobody wishes for: each estimate says one clear error, or an interval that is honest about them.

One reading, all alike, a wrong unit, a wrong sign, a huge outlier, zero, what is no number at all: never another error,
never a value or an interval that is no number, never an interval without width where the instrument has limits.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_host.commissioning.estimates.bracket import Bracket, Trial
from firmware_host.commissioning.estimates.fits import first_harmonic, line_through
from firmware_host.commissioning.estimates.inertia import by_bifilar, by_pendulum, by_ring, by_run_down, period
from firmware_host.commissioning.estimates.measured import Measured, mean_of
from firmware_host.commissioning.estimates.spread import spread_of
from firmware_host.commissioning.estimates.swings import (
    Counted,
    damped_frequency,
    damping_ratio,
    decay_rate,
    natural_frequency,
)
from firmware_host.commissioning.estimates.warming import warming_curve
from firmware_host.commissioning.estimates.window import Seen, window_of
from firmware_host.errors import FirmwareHostError

WITHIN = 0.05
Readings = Sequence[float]


def _positive(readings: Readings) -> list[Measured]:
    return [Measured(each, 0.01 * abs(each) if math.isfinite(each) else 0.1) for each in readings]


def _mean(readings: Readings) -> Iterator[Measured]:
    yield mean_of(readings, WITHIN)


def _spread(readings: Readings) -> Iterator[Measured]:
    yield spread_of(readings, WITHIN)


def _line(readings: Readings) -> Iterator[Measured]:
    line = line_through(range(len(readings)), readings)
    yield line.slope_read_to(WITHIN)


def _harmonic(readings: Readings) -> Iterator[Measured]:
    angles = [2 * math.pi * each / max(len(readings), 1) for each in range(len(readings))]
    found = first_harmonic(angles, readings, WITHIN)
    yield found.amplitude
    yield found.phase
    yield found.offset


def _period(readings: Readings) -> Iterator[Measured]:
    yield period(readings, 10, 0.1, WITHIN)


def _pendulum(readings: Readings) -> Iterator[Measured]:
    mass, arm, one, other = (_positive(readings or [1.0]) * 4)[:4]
    yield by_pendulum(mass, arm, one, other)


def _bifilar(readings: Readings) -> Iterator[Measured]:
    mass, apart, length, swing = (_positive(readings or [1.0]) * 4)[:4]
    yield by_bifilar(mass, apart, length, swing)


def _ring(readings: Readings) -> Iterator[Measured]:
    ring, first, second = (_positive(readings or [1.0]) * 3)[:3]
    yield by_ring(ring, first, second)


def _run_down(readings: Readings) -> Iterator[Measured]:
    yield by_run_down([float(each) for each in range(len(readings))], readings, Measured(0.05, 0.001), WITHIN)[0]


def _swings(readings: Readings) -> Iterator[Measured]:
    counted = [Counted(2, each, 1.0, each) for each in readings]
    frequency, damping = damped_frequency(counted, WITHIN), damping_ratio(counted)
    yield frequency
    if damping is not None:
        yield damping
        yield natural_frequency(frequency, damping, 0.5, 2)


def _decay(readings: Readings) -> Iterator[Measured]:
    yield decay_rate([0.1 * each for each in range(len(readings))], readings, WITHIN)


def _warming(readings: Readings) -> Iterator[Measured]:
    curve = warming_curve([600.0 * each for each in range(len(readings))], readings, WITHIN)
    yield curve.end
    yield curve.time_constant


def _bracket(readings: Readings) -> Iterator[Measured]:
    yield Bracket.of([Trial(each, failed=place % 2 == 1) for place, each in enumerate(readings)]).limit()


def _window(readings: Readings) -> Iterator[Measured]:
    ends = [min(round(each), 30) if math.isfinite(each) else 0 for each in readings]
    found = window_of([Seen(1 - 2 * (k % 2), end, end + 4) for k, end in enumerate(ends)], 25e-3, 1e-4)
    yield from (found.half, found.middle, found.beside)


ESTIMATES: dict[str, Callable[[Readings], Iterator[Measured]]] = {
    "mean": _mean, "spread": _spread, "line": _line, "harmonic": _harmonic, "period": _period, "pendulum": _pendulum,
    "two cords": _bifilar, "ring": _ring, "run-down": _run_down, "swings": _swings, "decay": _decay,
    "warming": _warming, "bracket": _bracket, "window": _window,
}  # fmt: skip

#: What a person may type: sensible, in a wrong unit (by 1000), with a wrong sign, far off, nothing, no number.
typed = st.one_of(
    st.floats(0.5, 20.0),
    st.sampled_from([0.0, 1.0, 1e-3, 1e3, -1.0, 1e6, 1e-9, 1e150, -1e150, 1e-300, math.nan, math.inf, -math.inf]),
)
unkind = st.one_of(
    st.lists(typed, max_size=8),
    st.tuples(typed, st.integers(1, 8)).map(lambda each: [each[0]] * each[1]),
    st.tuples(st.lists(st.floats(4.9, 5.1), min_size=2, max_size=7), typed).map(lambda each: [*each[0], each[1]]),
)


@pytest.mark.parametrize("name", ESTIMATES)
@settings(deadline=None, max_examples=25)
@given(readings=unkind)
def test_unkind_readings_end_in_one_clear_error_or_in_an_honest_interval(name: str, readings: list[float]) -> None:
    try:
        found = list(ESTIMATES[name](readings))
    except FirmwareHostError:
        return
    for each in found:
        assert math.isfinite(each.value), each
        assert math.isfinite(each.lowest), each
        assert math.isfinite(each.highest), each
        assert each.lowest <= each.value <= each.highest, each
        assert each.lowest < each.highest, each


@pytest.mark.parametrize("far", [0.0, 5.4, -40.0, 1e3, 1e6])
def test_one_reading_that_is_far_off_widens_the_interval_and_does_not_shift_it_off_the_truth(far: float) -> None:
    readings = [5.01, 4.99, 5.0, 5.02, 4.98, far]
    mean = mean_of(readings, WITHIN)
    assert mean.lowest <= 5.0 <= mean.highest
    slope = line_through(range(6), readings).slope
    assert slope.lowest <= 0.0 <= slope.highest
    angles = [math.radians(30 * each) for each in range(12)]
    run_out = first_harmonic(angles, [math.cos(each) for each in angles[:-1]] + [far], WITHIN).amplitude
    assert run_out.lowest <= 1.0 <= run_out.highest
