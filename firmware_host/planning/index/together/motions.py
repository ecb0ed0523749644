"""The motions of many parts of which it is known where each nearly lies: proved in one go, to the same limits.

What a part alone takes most time for, its swing and its ringing and what the limits say, is looked at for all together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.guess import Guess
from firmware_host.planning.index.allowed import Allowed, least
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.index.ringing import half_microstep
from firmware_host.planning.index.safe_motion import SafeMotion, binding_of
from firmware_host.planning.index.search import IndexSearch, Pair
from firmware_host.planning.index.swings import MoveSwings
from firmware_host.planning.index.timing import IndexTiming
from firmware_host.planning.index.together.nearby import Indexes, quickest_near
from firmware_host.planning.index.together.peaks import peaks_of
from firmware_host.planning.index.together.settling import Gated, settle_times_of
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.limits.check import NARROW_MARGIN
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.load.case import LoadCase
from firmware_host.planning.load.start import NO_JUMP

_SHARP, _WIDE = 2e-5, 2e-3  # a guess wider than the first is where to look, not what to take
_GIVING_WAY, _LITTLE = 4, 3e-4
_CLEAR = 3.0  # widths: so much of a limit is left where it is not in the way
_BELOW = 1e-7  # of the limit, to be on the safe side of it
_ROUNDING, _EXACT = 1 + 1e-12, 1e-9
_SAME_RATIO = 1e-9

Places = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class NearMotion:
    """A safe motion, and how far the part swings with it, over the acceleration: pushed on, and held back."""

    motion: SafeMotion
    peaks: tuple[float, float]


def motions_near(
    loads: Sequence[LoadCase],
    together: LoadCase,
    moves: Sequence[IndexMoves],
    guesses: Sequence[Guess],
    check: Check = never,
) -> list[NearMotion | None]:
    """The motion of each part near its guess, see `safe_motion.motion_for`; None where none is proved to be safe there.

    Of as many `loads`, each the only one that its part may have, their moves and guesses. `together`: all loads as one,
    each number that isn't the same of all an array of shape (parts,). Peaks and waits are as for a part alone, to a
    thousandth, and never less than the true ones. No kinds of moves are told of their timings.
    """
    band = together.natural_band
    ratio = np.asarray(band.highest / band.lowest)
    fit = together.start == NO_JUMP and np.ndim(together.damping.lowest + together.damping.highest) == 0
    if not loads or not fit or np.ptp(ratio) > _SAME_RATIO:
        return [_alone(*each, check) for each in zip(loads, moves, guesses, strict=True)]
    found = _Lot(together, float(ratio.max()), moves, guesses, check).proved()
    for place, (own, guess) in enumerate(zip(moves, guesses, strict=True)):
        if guess.width >= _WIDE or own.longest is not own.shortest:
            found[place] = _alone(loads[place], own, guess, check)
    return found


def _alone(load: LoadCase, moves: IndexMoves, guess: Guess, check: Check) -> NearMotion | None:
    """The motion of one part near its guess."""
    swings = MoveSwings(load, moves, check)
    search = IndexSearch([load], moves, NARROW_MARGIN, swings=swings)
    pair = search.near(guess)
    if pair is None:
        return None
    speed, binding = binding_of(pair, search.shares(pair), search.acceleration_limits, moves)
    timing = swings.timing(pair.acceleration, speed)
    motion = SafeMotion(pair.acceleration, speed, binding, timing)
    return NearMotion(motion, swings.peaks(pair.acceleration, speed))


@dataclass(frozen=True, slots=True, eq=False)
class _Moves:
    """Some moves of each part in a row: their lengths (rad), whose each is, and where those of each part begin."""

    length: FloatArray
    whose: Places
    begins: Places

    @classmethod
    def of(cls, lengths: Sequence[FloatArray]) -> _Moves:
        count = np.array([each.size for each in lengths])
        return cls(np.concatenate(lengths), np.arange(count.size).repeat(count), np.cumsum(count) - count)

    def times(self, a: FloatArray, v: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Seconds of each move's ramp, and of its cruise and ramp, at the motion of its part."""
        a, v = a[self.whose], v[self.whose]
        triangle = np.sqrt(self.length / a)
        return np.minimum(v / a, triangle), np.maximum(self.length / v, triangle)


def _gentler(a: FloatArray, used: FloatArray, a_before: FloatArray, used_before: FloatArray) -> FloatArray:
    """Accelerations that use up no more than the limit, by a line through two tried before: 0 and 0 at first."""
    slope = (used - used_before) / (a - a_before)
    return a - np.where(slope > 0, (used - 1 + _BELOW) / np.where(slope > 0, slope, 1.0), np.inf)


class _Lot:
    """Parts whose bands are as wide and whose damping is the same, with a motion of each that is to be proved."""

    def __init__(
        self, load: LoadCase, ratio: float, moves: Sequence[IndexMoves], guesses: Sequence[Guess], check: Check
    ) -> None:
        self._load, self._ratio, self._own, self._check = load, ratio, moves, check
        self._allowed = Allowed.at_motions(all_limits(), load, NARROW_MARGIN)
        self._slowest = np.broadcast_to(load.natural_band.lowest, (len(moves),))
        self._longest = np.array([each.longest_of_all for each in moves])
        a, v, width = np.array(guesses, dtype=np.float64).T
        self._width = float(width.max())
        self._v = np.minimum(v, self._allowed.top_speed)
        self._pull_out = np.broadcast_to(load.lowest_pull_out(self._v), v.shape)
        self._a = np.minimum(a, least(self._allowed.steady(self._v, self._pull_out), v))

    def proved(self) -> list[NearMotion | None]:
        """The motion of each, gentler by a little where that is needed; None where that doesn't help."""
        least_of_all = self._a * (1 - _LITTLE)
        before = np.zeros(self._a.shape), np.zeros(self._a.shape)
        left = np.flatnonzero(self._a > 0)
        peaks, most = np.ones((self._a.size, 2)), np.full(self._a.shape, np.inf)
        swinging = _Moves.of([each.shortest for each in self._own])
        if _SHARP <= self._width < _WIDE and left.size:
            self._search(swinging, left)
        for _ in range(_GIVING_WAY):
            peaks[left] = self._peaks(swinging, left)
            shares, ramps = self._shares(peaks)
            most[left] = np.max(list(shares.values()), axis=0)[left]
            left = left[most[left] > 1 + _EXACT]
            if not left.size:
                break
            gentler = _gentler(self._a[left], most[left], *(each[left] for each in before))
            before[0][left], before[1][left] = self._a[left], most[left]
            self._a[left] = gentler
            left = left[gentler >= least_of_all[left]]
        cruises = np.square(self._v) * _ROUNDING < self._a * self._longest
        wanted = ~cruises | self._allowed.beside_bands(self._v, NARROW_MARGIN)
        return self._told(np.flatnonzero((most <= 1 + _EXACT) & wanted), shares, ramps, peaks)

    def _shares(self, peaks: FloatArray) -> tuple[dict[str, FloatArray], frozenset[str]]:
        """How much of each limit, its reserve kept, is used up, 1 at the limit; and which bound the acceleration."""
        a, v, pull_out = self._a, self._v, self._pull_out
        ramps = self._allowed.steady_shares(a, v, pull_out)
        ramps |= self._allowed.peak_shares(peaks[:, 0] * a, peaks[:, 1] * a, v, pull_out)
        shares = self._allowed.speed_shares(v) | ramps
        return {name: np.broadcast_to(share, a.shape) for name, share in shares.items()}, frozenset(ramps)

    def _peaks(self, moves: _Moves, places: Places) -> FloatArray:
        """How far each of some parts swings at the most, shape (places, 2)."""
        chosen = np.zeros(self._a.shape, dtype=np.bool_)
        chosen[places] = True
        those = chosen[moves.whose]
        w = self._slowest[moves.whose]
        ramp, until_brake = moves.times(self._a, self._v)
        cruise = np.maximum(until_brake - ramp, 0.0)
        swings = peaks_of((w * ramp)[those], (w * cruise)[those], self._ratio, self._load.damping, self._check)
        found = []
        for each in (swings.pushing, swings.holding):
            of_moves = np.zeros(moves.length.shape)
            of_moves[those] = each
            found.append(self._load.torsion.peak(np.maximum.reduceat(of_moves, moves.begins)))
        return np.stack(found, axis=-1)[places]

    def _search(self, swinging: _Moves, places: Places) -> None:
        """Go to the quickest motion near each guess, where no limit of the acceleration is in the way there."""
        peaks = np.ones((self._a.size, 2))
        peaks[places] = self._peaks(swinging, places)
        shares, ramps = self._shares(peaks)
        used = np.max([shares[name] for name in ramps], axis=0, initial=0.0)
        free = (used <= 1 - _CLEAR * self._width) & (self._a > 0)
        if not free.any():
            return
        steady = least(self._allowed.steady(self._v, self._pull_out), self._v)
        found = quickest_near(
            self._indexes,
            (np.where(self._a > 0, self._a, 1.0), self._v),
            (np.maximum(steady, 1e-9), np.broadcast_to(self._allowed.top_speed, self._v.shape)),
            self._width,
            self._ratio,
            self._load.damping,
            self._check,
        )
        self._a, self._v = (np.where(free, *each) for each in zip(found, (self._a, self._v), strict=True))
        self._pull_out = np.broadcast_to(self._load.lowest_pull_out(self._v), self._v.shape)

    @cached_property
    def _indexes(self) -> Indexes:
        own, load = self._own, self._load
        moves = _Moves.of([each.shortest for each in own])
        gated = np.flatnonzero(np.concatenate([each.gated for each in own]))
        leads = np.concatenate([each.lead_longest for each in own])
        of_load = (self._slowest, half_microstep(load), load.torsion.first, load.torsion.rest)
        of_part = (np.broadcast_to(each, self._a.shape)[moves.whose[gated]] for each in of_load)
        ringing = Gated(moves.length[gated], leads[gated], *of_part)
        weights = np.concatenate([each.weights for each in own])
        return Indexes(moves.length, weights, moves.begins, ringing, gated)

    def _timed(self) -> tuple[list[float], list[float]]:
        """What the indexes of each part take on average, and the longest that one rings, s."""
        indexes, settle = self._indexes, np.zeros(self._indexes.length.shape)
        whose = indexes.whose[indexes.whose_gate]
        motions = self._a[whose], self._v[whose]
        settle[indexes.whose_gate] = settle_times_of(
            indexes.gated, *motions, self._ratio, self._load.damping, self._check
        )
        moving = indexes.moving(self._a, self._v)
        return moving.tolist(), np.maximum.reduceat(settle, indexes.begins).tolist()

    def _told(
        self, safe: Places, shares: dict[str, FloatArray], ramps: frozenset[str], peaks: FloatArray
    ) -> list[NearMotion | None]:
        found: list[NearMotion | None] = [None] * self._a.size
        if not safe.size:
            return found
        moving, settle = self._timed()
        a, v, of_each = self._a.tolist(), self._v.tolist(), np.stack(list(shares.values()), axis=-1).tolist()
        for place in safe.tolist():
            timing = IndexTiming(moving[place], settle[place])
            pair = Pair(a[place], v[place], timing.index_s)
            speed, binding = binding_of(pair, dict(zip(shares, of_each[place], strict=True)), ramps, self._own[place])
            pushing, holding = peaks[place].tolist()
            found[place] = NearMotion(SafeMotion(pair.acceleration, speed, binding, timing), (pushing, holding))
        return found
