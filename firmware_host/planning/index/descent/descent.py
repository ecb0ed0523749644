"""The way down to the quickest motions: a coarse grid finds the valleys of the cost, finer ones go down the deepest.

The cost has valleys where a ramp lasts whole natural periods. A few oscillators tell on the grids how long a pair rings
and how far it swings: a machine between them may ring a little longer, which `search` looks at. What takes longer than
something that is known to be safe is left out as soon as that is seen: often by its moves alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.groups import largest_of_few
from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.train.index_swing import SwingPeaks
from firmware_host.mechanics.train.oscillators import Oscillators, few, least_damped, round_the_edge
from firmware_host.mechanics.train.vibration import DampingRange, FrequencyBand
from firmware_host.planning.index.descent.nearby_swings import NearbySwings
from firmware_host.planning.index.descent.points import Grid, Points
from firmware_host.planning.index.descent.room import MotionRoom
from firmware_host.planning.index.peaks import (
    HAIR,
    WORST_PEAK,
    PeakBounds,
    first_peak,
    peak_bounds,
    peaks_among,
    rough_peak_bounds,
)
from firmware_host.planning.index.ringing import settle_each, settle_of, settle_times
from firmware_host.planning.index.times import different_times, times_of
from firmware_host.planning.interrupt import Check

SPEEDS = np.concatenate([np.geomspace(1e-4, 1e-2, 8, endpoint=False), np.geomspace(1e-2, 1.0, 96)])
"""Of the coarse grid, over the highest that the longest move can reach."""

_SHARES = np.concatenate([np.geomspace(1e-3, 0.1, 30, endpoint=False), np.geomspace(0.1, 1.0, 96)])
_ALONG = np.geomspace(0.05, 1.0, 720)  # speeds along the line of the first swing: it is cheap, and slivers are narrow
_SPARSE_ALONG, _HALF_WIDTH_ALONG = 8, 0.02
_WORTH_ALONG = 1.01  # its steps are narrow: what takes so many times as long as the best of it is none of its valleys
_WORTH_BESIDE = 1.08  # so it is with the coarse grid, beside the best of that line
_SPARSE, _SPARSER, _SPARSELY = 3, 7, 500
_WORTH = 1.12  # a pair of the coarse grid that takes so many times as long as a safe one leads into no valley
_OF_OTHERS = 1e-4  # so little that moves no gate follows only decide where nothing else does
_BEYOND_REACH = 1.12  # a speed limit that no move comes near is the same motion as one just reached
_VALLEYS = (8, 5, 3, 2, 2, *(1,) * 20)


_OF_MANY, _OF_ONE, _OF_GUESSED = Grid.of(7, 0.28), Grid.of(11, 0.22), Grid.of(7, 0.25)
_FIRST_HALF_WIDTH = 0.06
_LAST_HALF_WIDTH = 5e-5
_ONWARD, _NEARLY_THERE = 1.5, 1e-3
_NEARLY = 0.1  # of a move's time: what rings by so much less than the longest may ring longest nearby
_WIDE = 0.02
_CLEAR = 0.95  # of the highest speed: what moves that hardly count use of it
_MUCH = 0.1
_ROUNDING, _EXACT = 1 + 1e-12, 1 + 1e-9
_FEW = 200  # points: so few are looked at with all oscillators at once sooner than with some after the others
_FEW_SWINGS, _FEW_TO_LOOK_AT = 30, 1500  # the same of points that swing, and of points times oscillators that ring
_HAIR = 1 + HAIR + 1e-6  # what `largest_peaks` lies above the largest of samples


@dataclass(frozen=True, slots=True, eq=False)
class Wish:
    """What is stated of the motion, and whether cruising in a resonant band is refused."""

    acceleration: float | None
    speed: float | None
    beside_bands: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Ringing:
    """Oscillators to look around some points with: that which rings longest at each, and others that may do nearby."""

    own: Oscillators
    others: tuple[Oscillators, ...]


class Descent:
    """The lowest points of the deepest valleys, for one wish."""

    def __init__(self, room: MotionRoom, wish: Wish, check: Check) -> None:
        self.room, self._wish, self._check = room, wish, check
        self._caution = _HAIR
        moves = room.moves
        self._weights = moves.weights + _OF_OTHERS * moves.count * ~moves.gated / moves.count.sum()

    @cached_property
    def _ring(self) -> tuple[Oscillators, Oscillators]:
        some = few(*self._ranges, 5, 1)
        return some.every(5), some.chosen(np.arange(some.natural.size) % 5 > 0)

    @cached_property
    def _round(self) -> Oscillators:
        return round_the_edge(*self._ranges, 28, 8)

    @cached_property
    def _swing(self) -> Oscillators:
        return least_damped(*self._ranges, 5)

    @cached_property
    def _fine_swing(self) -> Oscillators:
        return least_damped(*self._ranges, 11)

    @property
    def _ranges(self) -> tuple[FrequencyBand, DampingRange]:
        return self.room.load.natural_band, self.room.load.damping

    def lowest(
        self, caution: float, nearby: tuple[float, float, float] | None = None
    ) -> list[tuple[float, float, float]]:
        """(acceleration, speed, cost in s) of each, the quickest first; none where nothing is safe.

        `caution` >= 1: so many times as far as the oscillators show it is taken to swing. `nearby`: one of those found,
        to begin at.
        """
        self._caution = caution * _HAIR
        found = self._valleys
        if nearby is not None:
            a, v, cost = np.array(nearby)[:, None]
            found = Points.at(a, v, cost, _WIDE)
        return self._downward(found, _OF_ONE) if found.cost.size else []

    def lowest_near(self, acceleration: float, speed: float, width: float) -> list[tuple[float, float, float]]:
        """The same from one pair on that is known to lie near the lowest: within the part `width` of either.

        One that is as near as the search comes itself is taken as it is, gentler by so much.
        """
        self._caution = _HAIR
        a, v = np.array([acceleration]), np.minimum(np.array([speed]), self.room.top_speed)
        if width >= _LAST_HALF_WIDTH:
            return self._downward(Points.at(a, v, np.full(1, np.inf), width), _OF_GUESSED)
        a = np.minimum(a * (1 - width), self.room.steady_acceleration(v))
        v = self._as_reached(a, v)
        return [(float(a[0]), float(v[0]), np.inf)] if a[0] > 0 and self._wanted(a, v)[0] else []

    def _downward(self, found: Points, of_one: Grid) -> list[tuple[float, float, float]]:
        """From some points down to the lowest near them, the quickest first; `of_one`: around a single one."""
        found, among = self._looked_into(found)
        for keep in _VALLEYS:
            self._check()
            if not found.cost.size or found.width.max() < _LAST_HALF_WIDTH:
                break
            found, among = self._best_near(found, among, of_one if found.cost.size == 1 else _OF_MANY)
            found = found.best_apart(keep)
        a, v = found.acceleration, found.speed
        if self._wish.acceleration is None and a.size:
            a = np.minimum(a, self.room.steady_acceleration(v))
            v = self._as_reached(a, v)
        return list(zip(a.tolist(), v.tolist(), found.cost.tolist(), strict=True))

    def _as_reached(self, a: FloatArray, v: FloatArray) -> FloatArray:
        """Speeds that only moves reach which no gate follows, as high as the longest reaches where that is safe.

        Such moves hardly count, so the search leaves their speed open. Where a limit of the speed is in the way they
        leave a little more of it than an index would.
        """
        moves, room = self.room.moves, self.room
        if self._wish.speed is not None or moves.gated.all() or not moves.gated.any():
            return v
        reach, needed = np.sqrt(a * moves.longest_of_all), np.sqrt(a * float(moves.gated_lengths[1].max()))
        clear = np.maximum(needed, _CLEAR * room.top_speed)
        wanted = np.where(reach * _EXACT <= room.top_speed, reach * _EXACT, clear)
        for at in np.flatnonzero((v >= needed) & (a <= room.steady_acceleration(wanted)) & self._wanted(a, wanted)):
            some = np.array([at])
            up, down = self.sampled_peaks(a[some], wanted[some])
            if room.bears(up * a[some], down * a[some], wanted[some])[0]:
                v = np.where(np.arange(v.size) == at, wanted, v)
        return v

    def _moving(self, a: FloatArray, v: FloatArray) -> FloatArray:
        """Seconds of an average index without its settling, and a trace of the other moves."""
        return np.asarray(times_of(self.room.moves, a, v).duration @ self._weights)

    def _wanted(self, a: FloatArray, v: FloatArray) -> NDArray[np.bool_]:
        """Whether no cruise of each pair is refused, shape (n,)."""
        wanted = np.ones(a.shape, dtype=np.bool_)
        if self._wish.beside_bands and a.size:
            cruises = v**2 * _ROUNDING < a * self.room.moves.longest_of_all
            wanted[cruises] = self.room.beside_bands(v[cruises])
        return wanted

    # --- the coarse grid ----------------------------------------------------------------------------------------------

    @cached_property
    def _valleys(self) -> Points:
        """The deepest local minima of the coarse grid."""
        wish, room = self._wish, self.room
        speeds = SPEEDS * room.reachable_speed if wish.speed is None else np.array([wish.speed])
        shares = _SHARES if wish.acceleration is None else np.ones(1)
        v = speeds[:, None]
        steady = room.steady_acceleration(v)
        a = steady * shares if wish.acceleration is None else np.full(v.shape, wish.acceleration)
        kept = (a > 0) & (a <= steady * _EXACT) & self._reached(a, v) & ~self._swings_too_far_at_once(a, v)
        if wish.beside_bands:
            cruises = v**2 * _ROUNDING < a * room.moves.longest_of_all
            kept &= ~cruises | room.beside_bands(v)
        cost = np.full(a.shape, np.inf)
        rows, columns = np.nonzero(kept)
        along = self._along_first_swing()
        most, stages = along.cost.min(initial=np.inf) * _WORTH_BESIDE, [np.arange(rows.size)]
        if most == np.inf and rows.size > _SPARSELY:
            some = np.flatnonzero((rows % _SPARSE == _SPARSE // 2) & (columns % _SPARSE == _SPARSE - 1))
            stages = [some[::_SPARSER], some, *stages]
        cost[kept] = self._staged_cost(a[kept], speeds[rows], stages, most, _WORTH)
        row, column = _minima(cost).T
        found = Points.at(a[row, column], speeds[row], cost[row, column], _FIRST_HALF_WIDTH)
        return found.and_also(along).best_apart(_VALLEYS[0])

    def _swings_too_far_at_once(self, a: FloatArray, v: FloatArray) -> NDArray[np.bool_]:
        """Whether the first swing alone of the longest move's ramp exceeds a limit; they broadcast."""
        load = self.room.load
        least = math.pi / (load.natural_band.highest * math.sqrt(1 - load.damping.lowest**2))
        lasts = (v >= least * a) & (self.room.moves.longest_of_all >= least**2 * a)
        return np.asarray(lasts & (first_peak(load) * a > self.room.most_pushed(v)))

    def _along_first_swing(self) -> Points:
        """The local minima along the line where the first swing of a ramp reaches a limit; none where none does.

        A ramp of half a period or more may be no harder. One that swings no further later on is quickest right there:
        where all of that fits, in slivers of the grid that are narrower than its steps.
        """
        room, wish = self.room, self._wish
        v = _ALONG * room.reachable_speed if wish.speed is None else np.array([wish.speed])
        a = room.most_pushed(v) / (first_peak(room.load) * _HAIR * _EXACT)
        fits = (a > 0) & (a < room.steady_nearly(v)) & self._reached(a, v)
        at = np.flatnonzero(fits if wish.acceleration is None else fits & False)
        at = at[self._wanted(a[at], v[at])]
        a, v = a[at], v[at]
        stages = np.arange(a.size)[::_SPARSE_ALONG], np.arange(a.size)
        cost = self._staged_cost(a, v, stages, np.inf, _WORTH_ALONG, bounds=())
        at = _minima(cost[:, None])[:, 0]
        return Points.at(a[at], v[at], cost[at], _HALF_WIDTH_ALONG)

    def _reached(self, a: FloatArray, v: FloatArray) -> NDArray[np.bool_]:
        """Whether the longest move comes near each speed; a speed that is stated counts as reached."""
        if self._wish.speed is not None:
            return np.ones(np.broadcast_shapes(a.shape, v.shape), dtype=np.bool_)
        return np.asarray(v**2 <= _BEYOND_REACH**2 * a * self.room.moves.longest_of_all)

    def _staged_cost(
        self,
        a: FloatArray,
        v: FloatArray,
        stages: Iterable[NDArray[np.intp]],
        most: float,
        worth: float,
        bounds: Iterable[PeakBounds] = (rough_peak_bounds, peak_bounds),
    ) -> FloatArray:
        """Cost of each pair, shape (n,), infinite where it isn't safe or takes `worth` times as long as a safe one.

        `stages`: which of them to look at, one lot after the other; `most`: what is worth nothing in any case;
        `bounds`: what may show that some surely are safe.
        """
        cost, moving = np.full(a.shape, np.inf), self._moving(a, v)
        for those in stages:
            at = those[moving[those] <= most]
            cost[at] = self._cost(a[at], v[at], moving[at], most, bounds)
            most = min(most, cost.min(initial=np.inf) * worth)
        return np.where(cost <= most, cost, np.inf)

    def _cost(
        self, a: FloatArray, v: FloatArray, moving: FloatArray, most: float, bounds: Iterable[PeakBounds]
    ) -> FloatArray:
        """Cost of each pair, infinite where it is more than `most` or a limit is exceeded."""
        cost = self._ringing(a, v, moving, np.full(a.shape, most), self._ring)
        if (at := np.flatnonzero(np.isfinite(cost))).size:
            cost[at] = np.where(self._bears(a[at], v[at], cost[at], bounds), cost[at], np.inf)
        return cost

    def _bears(self, a: FloatArray, v: FloatArray, cost: FloatArray, bounds: Iterable[PeakBounds]) -> NDArray[np.bool_]:
        """Whether each pair keeps the limits as it swings; those that take too long to matter count as not."""
        room, load = self.room, self.room.load
        most = load.torsion.peak(WORST_PEAK) * a
        kept = room.bears(most, most, v)
        times = different_times(room.moves, a, v)
        for bound in bounds:
            if (at := self._worth_a_look(kept, cost)).size:
                kept[at] = self._swings(a[at], v[at], bound(load, times.at(at)))
        at = self._worth_a_look(kept, cost)
        for some in (self._swing.every(5), self._swing) if at.size > _FEW_SWINGS else (self._swing,):
            if at.size:
                self._check()
                peaks = peaks_among(load, times.at(at), some)
                at = at[self._swings(a[at] * _HAIR, v[at], peaks)]  # as the finer grids will see it
        kept[at] = True
        return kept

    def _worth_a_look(self, kept: NDArray[np.bool_], cost: FloatArray) -> NDArray[np.intp]:
        return np.flatnonzero(~kept & (cost <= cost[kept].min(initial=np.inf) * _WORTH))

    def _swings(self, a: FloatArray, v: FloatArray, peaks: SwingPeaks) -> NDArray[np.bool_]:
        return self.room.bears(largest_of_few(peaks.pushing) * a, largest_of_few(peaks.holding) * a, v)

    # --- the finer grids ----------------------------------------------------------------------------------------------

    def _best_near(self, around: Points, among: _Ringing, grid: Grid) -> tuple[Points, _Ringing]:
        """The best point of `grid` around each, if one is better, and the oscillators to look around it with."""
        room, wish = self.room, self._wish
        v, a = self._places(around, grid)
        steady = room.steady_nearly(v)
        if wish.acceleration is None:
            follows = steady / room.steady_nearly(around.speed)[:, None]
            a = np.where(steady > 0, np.minimum(a * np.where(grid.follows, follows, 1.0), steady), a)
        a, v, steady = np.broadcast_arrays(a, v, steady)
        swings = NearbySwings(room, self.sampled_peaks, around)
        most = np.where(swings.borne, around.cost, np.inf)
        moving, cost = self._moving(a, v), np.full(a.shape, np.inf)
        at = np.nonzero((a > 0) & (a <= steady * _EXACT) & (moving < most[:, None]))
        wanted = self._wanted(a[at], v[at])
        at = at[0][wanted], at[1][wanted]
        cost[at] = self._ringing(a[at], v[at], moving[at], most[at[0]], among.others, among.own.chosen(at[0]))
        best, there = swings.best(a, v, cost)
        safe = np.isfinite(there.cost)
        there, ringing = self._looked_into(there)
        better = safe & ((there.cost < around.cost) | ~swings.borne)
        much = there.cost < around.cost * (1 - _MUCH * around.width)
        onward = better & much & grid.outward[best % grid.outward.size] & (around.width > _NEARLY_THERE)
        around = replace(swings.middle, cost=np.where(swings.borne, around.cost, np.inf))
        width = around.width * np.where(onward, _ONWARD, grid.shrink)
        return replace(there.where(better, around), width=width), ringing

    def _places(self, around: Points, grid: Grid) -> tuple[FloatArray, FloatArray]:
        """Speeds, and accelerations before they follow the largest steady one, shape (k, points) or (k, 1)."""
        wide, wish = around.width[:, None], self._wish
        v = around.speed[:, None] * (np.exp(wide * grid.faster) if wish.speed is None else 1.0)
        a = around.acceleration[:, None] * (np.exp(wide * grid.harder) if wish.acceleration is None else 1.0)
        return np.minimum(v, max(self.room.top_speed, wish.speed or 0.0)), a

    def _ringing(
        self,
        a: FloatArray,
        v: FloatArray,
        moving: FloatArray,
        most: FloatArray,
        among: tuple[Oscillators, ...],
        own: Oscillators | None = None,
    ) -> FloatArray:
        """Cost of each pair, `moving` and its ringing as far as `among` tell, infinite where it is more than `most`.

        `own`: an oscillator for each pair, to be looked at first where there is much to look at.
        """
        load, moves = self.room.load, self.room.moves
        settle = np.zeros(a.shape)
        if own is not None and a.size * sum(some.natural.size for some in among) > _FEW_TO_LOOK_AT:
            settle = np.maximum(settle_of(load, moves, a, v, own), 0.0)
        cost, at = np.full(a.shape, np.inf), np.flatnonzero(moving + settle <= most)
        if at.size <= _FEW and len(among) > 1:
            among = (among[0].and_also(*among[1:]),)
        for some in among:
            if at.size and some.natural.size:
                found = np.maximum(settle[at], settle_times(load, moves, a[at], v[at], some, self._check))
                settle[at] = found
                at = at[moving[at] + found <= most[at]]
        cost[at] = moving[at] + settle[at]
        return cost

    def _looked_into(self, points: Points) -> tuple[Points, _Ringing]:
        """The points with their cost as seen by many oscillators, and those of them that the next grid is seen with."""
        moving = self._moving(points.acceleration, points.speed)
        each = settle_each(self.room.load, self.room.moves, points.acceleration, points.speed, self._round)
        longest = each.max(axis=0, initial=-np.inf)
        peaks = (each >= np.roll(each, 1, axis=0)) & (each >= np.roll(each, -1, axis=0))
        first = each.argmax(axis=0)
        near = (peaks & (each >= longest - _NEARLY * moving)).any(axis=1)
        others = (self._round.chosen(near), *(self._ring if points.width.max(initial=0.0) > _WIDE else ()))
        return replace(points, cost=moving + np.maximum(longest, 0.0)), _Ringing(self._round.chosen(first), others)

    def sampled_peaks(self, a: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Farthest swing over the acceleration, (pushed on, held back), as `largest_peaks` would find it, nearly."""
        peaks = peaks_among(self.room.load, different_times(self.room.moves, a, v), self._fine_swing)
        return largest_of_few(peaks.pushing) * self._caution, largest_of_few(peaks.holding) * self._caution


def _minima(cost: FloatArray) -> NDArray[np.intp]:
    """Row and column of the local minima of a grid, shape (k, 2); none where all is infinite."""
    padded = np.full((cost.shape[0] + 2, cost.shape[1] + 2), np.inf)
    padded[1:-1, 1:-1] = cost
    across = np.minimum(padded[1:-1, :-2], padded[1:-1, 2:])
    along = np.minimum(padded[:-2, 1:-1], padded[2:, 1:-1])
    return np.argwhere(np.isfinite(cost) & (cost <= np.minimum(across, along)))
