"""How far the moves of many parts make them swing, in one go: some moves looked at for all, the rest between those.

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
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.train.index_swing import SwingPeaks, swing_peaks
from firmware_host.mechanics.train.oscillators import JUMPS, Oscillators
from firmware_host.mechanics.train.vibration import DampingRange, FrequencyBand
from firmware_host.planning.index.peaks import HAIR, largest_swings
from firmware_host.planning.interrupt import Check, never

_SHARPER = 2.8e-3  # than `HAIR`: what is left of it pays for what may lie between two moves
_LEAST = 1.0  # a swing over its acceleration is no less than that for a ramp that lasts


def peaks_of(
    ramp: FloatArray, cruise: FloatArray, ratio: float, damping: DampingRange, check: Check = never
) -> SwingPeaks:
    """How far each move swings a part, over the acceleration, shape (moves,): as `peaks.largest_peaks`, never less.

    `ramp` > 0 and `cruise` >= 0, shape (moves,), times w: the least natural angular frequency of the part that makes
    the move, whose highest is `ratio` times that.
    """
    found = SwingPeaks(np.empty(ramp.shape), np.empty(ramp.shape))
    band = FrequencyBand(1.0, ratio)
    for box in _boxes(ramp, cruise, damping):
        corners_x, corners_y = (each.ravel() for each in np.meshgrid(box.ramps, box.cruises, indexing="ij"))

        def swung(among: Oscillators, x: FloatArray = corners_x, y: FloatArray = corners_y) -> SwingPeaks:
            return swing_peaks(x, y, *among.before(1))

        at_corners = largest_swings(band, damping, swung, _SHARPER, check)
        weights = _weights(box.ramps, ramp[box.those]), _weights(box.cruises, cruise[box.those])
        weight = (weights[0][:, :, None] * weights[1][:, None, :]).reshape(box.those.size, -1)
        for told, corners in ((found.pushing, at_corners.pushing), (found.holding, at_corners.holding)):
            reached = weight @ corners / (1 + _SHARPER)
            told[box.those] = np.maximum(reached * (1 + HAIR), reached * (1 + _SHARPER) + box.between)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Box:
    """Moves near one another: `those`, between `ramps` and `cruises`, each of one end or two.

    `between`: how much further than what the corners say a move in it may swing.
    """

    those: NDArray[np.intp]
    ramps: FloatArray
    cruises: FloatArray
    between: float


def _boxes(ramp: FloatArray, cruise: FloatArray, damping: DampingRange) -> Iterator[_Box]:
    """All moves in boxes so small that what may lie between their corners is nothing that counts."""
    most, secant = 2 / (math.e * damping.lowest), 1 / math.sqrt(1 - damping.highest**2)
    enough = math.sqrt((HAIR - _SHARPER) * _LEAST * 2 / (JUMPS * secant))
    left = [np.arange(ramp.size)]
    while left:
        those = left.pop()
        if not those.size:
            continue
        x, y = ramp[those], cruise[those]
        by_ramp = most * np.ptp(x) / 2 / x.min()
        wide, low = float(np.ptp(y)) / 2, float(y.min())
        by_cruise = min(most * wide / low if low > 0 else math.inf, wide)
        near = min(max(by_ramp, most * wide / low if low > 0 else math.inf), by_ramp + wide)
        if near <= enough:
            between = JUMPS / 2 * secant * near**2
            yield _Box(those, np.unique([x.min(), x.max()]), np.unique([y.min(), y.max()]), between)
            continue
        values = x if by_ramp > by_cruise else y
        above = values > (values.min() + values.max()) / 2
        left += [those[above], those[~above]]


def _weights(ends: FloatArray, values: FloatArray) -> FloatArray:
    """How much each of one or two `ends` counts so that `values` come out, shape (values, ends)."""
    if ends.size == 1:
        return np.ones((values.size, 1))
    upper = (values - ends[0]) / (ends[1] - ends[0])
    return np.stack([1 - upper, upper], axis=-1)
