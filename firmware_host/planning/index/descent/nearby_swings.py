"""How far the points of finer grids swing, each looked at as few times as that takes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.index.descent.points import Points
from firmware_host.planning.index.descent.room import MotionRoom
from firmware_host.planning.index.peaks import WORST_PEAK

SampledPeaks = Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]
"""Of pairs (rad/s^2, rad/s; shape (n,)): farthest swing over the acceleration, pushed on and held back, (n,) each."""

_LOOKS = 8


class NearbySwings:
    """How far the points of some grids swing, each grid around one of `middle`.

    Each point is taken to swing as far over its acceleration as the nearest that was looked at. `borne`: whether those
    in the middle keep the limits; `of_middle`: their peaks.
    """

    def __init__(self, room: MotionRoom, sampled: SampledPeaks, middle: Points) -> None:
        """Of grids around `middle`, in `room`; `sampled`: what tells how far pairs swing."""
        self._room, self._sampled = room, sampled
        self._most = float(self._room.load.torsion.peak(WORST_PEAK))
        self._middle = a, v = middle.acceleration, middle.speed
        self.of_middle = middle.peaks
        self.borne = self._room.bears(self._most * a, self._most * a, v)
        self._looked = list[tuple[FloatArray, FloatArray, FloatArray]]()
        if not self.borne.all():
            if np.isnan(self.of_middle).any():
                self.of_middle = np.stack(sampled(a, v))
            self.borne = self.borne | self._noted(a, v, self.of_middle)

    def _noted(self, a: FloatArray, v: FloatArray, peaks: FloatArray) -> NDArray[np.bool_]:
        """Whether one point of each grid keeps the limits with its `peaks`, which are remembered."""
        self._looked.append((np.log(a), np.log(v), peaks))
        return self._room.bears(peaks[0] * a, peaks[1] * a, v)

    def best(self, a: FloatArray, v: FloatArray, cost: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
        """Which point of each grid (rows) has the least `cost` of those that keep the limits, and its peaks.

        The cost of others becomes infinite.
        """
        rows, at = np.arange(a.shape[0]), np.nonzero(np.isfinite(cost))
        peaks = np.full((2, *a.shape), np.nan)
        sure = np.zeros(a.shape, dtype=np.bool_)
        sure[at] = self._room.bears(self._most * a[at], self._most * a[at], v[at])
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
            peaks[:, best[0], best[1]] = found
            sure[best] |= kept & unsure
            cost[best] = np.where(unsure & ~kept, np.inf, cost[best])
        cost[~sure] = np.inf
        lowest = cost.argmin(axis=1)
        return lowest, peaks[:, rows, lowest]

    def _fit(
        self,
        a: FloatArray,
        v: FloatArray,
        at: tuple[NDArray[np.intp], ...],
        logs: tuple[FloatArray, FloatArray],
    ) -> NDArray[np.bool_]:
        """Whether each of the points `at` keeps the limits as the nearest that was looked at swings, in its grid."""
        if not self._looked:
            self.of_middle = np.stack(self._sampled(*self._middle))
            self._noted(*self._middle, self.of_middle)
        row, looked = at[0], self._looked
        away = [np.abs(logs[0] - x[row]) + np.abs(logs[1] - y[row]) for x, y, _ in looked]
        nearest = np.argmin(away, axis=0)
        up, down = np.stack([each for *_, each in looked])[nearest, :, row].T
        return self._room.bears(up * a[at], down * a[at], v[at])
