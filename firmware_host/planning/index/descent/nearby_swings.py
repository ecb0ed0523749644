"""How far the points of finer grids swing, each looked at as few times as that takes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.index.descent.points import Points
from firmware_host.planning.index.descent.room import MotionRoom
from firmware_host.planning.index.peaks import WORST_PEAK

SampledPeaks = Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]
"""Of pairs (rad/s^2, rad/s; shape (n,)): farthest swing over the acceleration, pushed on and held back, (n,) each."""

_LOOKS = 8
_JUMPS_AND_RAMPS = 8.0  # four jumps; a ramp changes by twice as much as acceleration and speed


class NearbySwings:
    """How far the points of some grids swing, each grid around one of `middle`.

    Each point is taken to swing as far over its acceleration as the nearest that was looked at, and none further than
    the one that was looked at last by more than the way from it can make. `borne`: whether those in the middle keep the
    limits; `middle`: with their peaks, where somebody looked.
    """

    def __init__(self, room: MotionRoom, sampled: SampledPeaks, middle: Points) -> None:
        """Of grids around `middle`, in `room`; `sampled`: what tells how far pairs swing."""
        self._room, self._sampled = room, sampled
        self._looked = list[tuple[FloatArray, FloatArray, FloatArray]]()
        self.middle, a, v = middle, middle.acceleration, middle.speed
        most = self._at_most(middle.away)
        self.borne = room.bears(most[0] * a, most[1] * a, v)
        if not self.borne.all():
            self.borne = self.borne | self._look_at_middle()
        self._most = self._at_most(self.middle.away + middle.width)

    def _at_most(self, away: FloatArray) -> FloatArray:
        """How far a point so far from where somebody looked may swing, over its acceleration; shape (2, n)."""
        load = self._room.load
        further = _JUMPS_AND_RAMPS / (math.e * load.damping.lowest) * away
        return np.fmin(self.middle.peaks + further, load.torsion.peak(WORST_PEAK))

    def _look_at_middle(self) -> NDArray[np.bool_]:
        middle = self.middle
        if middle.away.any() or np.isnan(middle.peaks).any():
            peaks = np.stack(self._sampled(middle.acceleration, middle.speed))
            self.middle = middle = replace(middle, peaks=peaks, away=np.zeros(middle.away.shape))
        return self._noted(middle.acceleration, middle.speed, middle.peaks)

    def _noted(self, a: FloatArray, v: FloatArray, peaks: FloatArray) -> NDArray[np.bool_]:
        """Whether one point of each grid keeps the limits with its `peaks`, which are remembered."""
        self._looked.append((np.log(a), np.log(v), peaks))
        return self._room.bears(peaks[0] * a, peaks[1] * a, v)

    def best(self, a: FloatArray, v: FloatArray, cost: FloatArray) -> tuple[NDArray[np.intp], Points]:
        """Which point of each grid (rows) has the least `cost` of those that keep the limits, and that point itself.

        The cost of others becomes infinite.
        """
        rows, at = np.arange(a.shape[0]), np.nonzero(np.isfinite(cost))
        middle = self.middle
        peaks = np.repeat(middle.peaks[:, :, None], a.shape[1], axis=2)
        away = np.repeat((middle.away + middle.width)[:, None], a.shape[1], axis=1)
        sure = np.zeros(a.shape, dtype=np.bool_)
        up, down = self._most[:, at[0]]
        sure[at] = self._room.bears(up * a[at], down * a[at], v[at])
        open_at = tuple(each[~sure[at]] for each in at)
        logs = np.log(a[open_at]), np.log(v[open_at])
        for _ in range(_LOOKS if open_at[0].size else 0):
            hopeful = cost.copy()
            hopeful[open_at] = np.where(self._fit(a, v, open_at, logs) | sure[open_at], cost[open_at], np.inf)
            best = rows, hopeful.argmin(axis=1)
            unsure = np.isfinite(hopeful[best]) & ~sure[best]
            if not unsure.any():
                break
            found = np.stack(self._sampled(a[best], v[best]))
            kept = self._noted(a[best], v[best], found)
            peaks[:, best[0], best[1]], away[best] = found, 0.0
            sure[best] |= kept & unsure
            cost[best] = np.where(unsure & ~kept, np.inf, cost[best])
        cost[~sure] = np.inf
        best = rows, cost.argmin(axis=1)
        found = peaks[:, best[0], best[1]]
        return best[1], Points(a[best], v[best], cost[best], middle.width, found, away[best])

    def _fit(
        self,
        a: FloatArray,
        v: FloatArray,
        at: tuple[NDArray[np.intp], ...],
        logs: tuple[FloatArray, FloatArray],
    ) -> NDArray[np.bool_]:
        """Whether each of the points `at` keeps the limits as the nearest that was looked at swings, in its grid."""
        if not self._looked:
            self._look_at_middle()
        row, looked = at[0], self._looked
        away = [np.abs(logs[0] - x[row]) + np.abs(logs[1] - y[row]) for x, y, _ in looked]
        nearest = np.argmin(away, axis=0)
        up, down = np.stack([each for *_, each in looked])[nearest, :, row].T
        return self._room.bears(up * a[at], down * a[at], v[at])
