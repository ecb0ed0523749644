"""How far the moves of many parts make them swing, in one go: a table of moves that fills as it is asked.

Time is counted in 1/w of each part's slowest oscillator: its ramp x and its cruise y are then all that the swing of a
part depends on, beside the damping and how wide the band is. What a jump of the acceleration makes an oscillator do
after an age t is g(t), with |g''| <= exp(-zeta t)/cos(tilt); an instant of a move is so long after each of its four
jumps, or fewer, and every one of these ages goes with x and y in proportion. So by Taylor's formula the swing at an
instant is at most what nearby moves p swing by at that instant, weighted by l >= 0 so that their x and y come out, and
half the sum of l (second derivative) (p - x)^2. With q = 2/(e zeta), the most of t exp(-zeta t/2), and moves nearer
than the parts r of x, s of y, and d in y itself, four jumps make that 2/cos(tilt) min(q max(r, s), q r + d)^2.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.train.index_swing import SwingPeaks, swing_peaks
from firmware_host.mechanics.train.oscillators import JUMPS, Oscillators
from firmware_host.mechanics.train.vibration import DampingRange, FrequencyBand
from firmware_host.planning.index.peaks import HAIR, largest_swings
from firmware_host.planning.interrupt import Check, never

_SHARPER = 2.8e-3  # than `HAIR`: what is left of it pays for what may lie between two moves
_BETWEEN = HAIR - _SHARPER  # a swing over its acceleration is no less than 1 for a ramp that lasts
_BY_RAMP, _BY_CRUISE = 0.6, 0.35  # of what may lie between
_SAME_RATIO = 1e-9
_AT_ONCE, _MOST = 8, 20_000

Places = NDArray[np.int64]


def peaks_of(
    ramp: FloatArray, cruise: FloatArray, ratio: float, damping: DampingRange, check: Check = never
) -> SwingPeaks:
    """How far each move swings a part, over the acceleration, shape (moves,): as `peaks.largest_peaks`, never less.

    `ramp` > 0 and `cruise` >= 0, shape (moves,), times w: the least natural angular frequency of the part that makes
    the move, whose highest is `ratio` times that.
    """
    table = _table(math.ceil(ratio / _SAME_RATIO), damping)
    return table.at(ramp, cruise, check)


class _Table:
    """Moves so near one another that what may lie between them is nothing that counts, and how far each swings.

    Steps of ramps are all of one ratio; so are those of long cruises, those of short ones are of one length.
    """

    def __init__(self, ratio: float, damping: DampingRange) -> None:
        self._band, self._damping = FrequencyBand(1.0, ratio), damping
        enough = math.sqrt(_BETWEEN * 2 / JUMPS * math.sqrt(1 - damping.highest**2))
        self._step = 2 * _BY_RAMP * enough * math.e * damping.lowest / 2
        self._short = 2 * _BY_CRUISE * enough
        self._shorts = math.ceil(1 / self._step)
        self._known = dict[tuple[int, int], tuple[float, float]]()

    def at(self, ramp: FloatArray, cruise: FloatArray, check: Check) -> SwingPeaks:
        """How far moves swing, shape (moves,)."""
        below = np.floor(np.log(ramp) / self._step).astype(np.int64)
        short = np.floor(cruise / self._short)
        longer = np.log(np.maximum(cruise, self._long) / self._long) / self._step
        left = np.where(cruise < self._long, short, self._shorts + np.floor(longer)).astype(np.int64)
        ends = [(below + up, left + right) for up in (0, 1) for right in (0, 1)]
        shares = (
            _shares(ramp, *map(self._ramps, (below, below + 1))),
            _shares(cruise, *map(self._cruises, (left, left + 1))),
        )
        weights = [shares[0][up] * shares[1][right] for up in (0, 1) for right in (0, 1)]
        found = np.zeros((2, ramp.size))
        for (rows, columns), weight in zip(ends, weights, strict=True):
            found += weight * self._peaks(rows, columns, weight > 0, check)
        reached = found / (1 + _SHARPER)
        told = np.maximum(reached * (1 + HAIR), reached * (1 + _SHARPER) + _BETWEEN)
        return SwingPeaks(told[0], told[1])

    @property
    def _long(self) -> float:
        return self._shorts * self._short

    def _ramps(self, rows: Places) -> FloatArray:
        return np.asarray(np.exp(rows * self._step))

    def _cruises(self, columns: Places) -> FloatArray:
        longer = self._long * np.exp(np.maximum(columns - self._shorts, 0) * self._step)
        return np.where(columns < self._shorts, columns * self._short, longer)

    def _peaks(self, rows: Places, columns: Places, wanted: NDArray[np.bool_], check: Check) -> FloatArray:
        """What is in the table at each place that is `wanted`, shape (2, moves): pushed on, and held back."""
        places = list(zip(rows.tolist(), columns.tolist(), strict=True))
        missing = sorted(
            {place for place, each in zip(places, wanted.tolist(), strict=True) if each} - set(self._known)
        )
        if len(self._known) > _MOST:
            self._known.clear()
            missing = sorted(set(places))
        for first in range(0, len(missing), _AT_ONCE):
            some = missing[first : first + _AT_ONCE]
            row, column = np.array(some).T
            ramp, cruise = self._ramps(row), self._cruises(column)

            def swung(among: Oscillators, x: FloatArray = ramp, y: FloatArray = cruise) -> SwingPeaks:
                return swing_peaks(x, y, *among.before(1))

            peaks = largest_swings(self._band, self._damping, swung, _SHARPER, check)
            self._known.update(zip(some, zip(peaks.pushing.tolist(), peaks.holding.tolist(), strict=True), strict=True))
        return np.array([self._known.get(place, (0.0, 0.0)) for place in places]).T


@lru_cache(maxsize=8)
def _table(ratio: int, damping: DampingRange) -> _Table:
    return _Table(ratio * _SAME_RATIO, damping)


def _shares(values: FloatArray, low: FloatArray, high: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How much either end counts so that `values` come out."""
    upper = np.clip((values - low) / (high - low), 0.0, 1.0)
    return 1 - upper, upper
