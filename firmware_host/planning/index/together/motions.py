"""The motions of many parts of which it is known where each nearly lies: proved in one go, to the same limits.

What a part alone takes most time for, its swing and its ringing, is looked at for all of them together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.train.vibration import DampingRange
from firmware_host.planning.guess import Guess
from firmware_host.planning.index.allowed import Allowed, least
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.index.ringing import half_microstep
from firmware_host.planning.index.safe_motion import SafeMotion, binding_of
from firmware_host.planning.index.search import IndexSearch, Pair
from firmware_host.planning.index.swings import MoveSwings
from firmware_host.planning.index.timing import IndexTiming
from firmware_host.planning.index.together.peaks import peaks_of
from firmware_host.planning.index.together.settling import Gated, settle_times_of
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.limits.check import NARROW_MARGIN
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.load.case import LoadCase
from firmware_host.planning.load.start import NO_JUMP

_SHARP = 5e-5  # a guess wider than that is where to look, not what to take
_GIVING_WAY, _LITTLE = 3, 3e-4
_ROUNDING, _EXACT = 1 + 1e-12, 1e-9
_SAME_RATIO = 9  # digits


@dataclass(frozen=True, slots=True)
class NearMotion:
    """A safe motion, and how far the part swings with it, over the acceleration: pushed on, and held back."""

    motion: SafeMotion
    peaks: tuple[float, float]


def motions_near(
    loads: Sequence[LoadCase], moves: Sequence[IndexMoves], guesses: Sequence[Guess], check: Check = never
) -> list[NearMotion | None]:
    """The motion of each part near its guess, see `safe_motion.motion_for`; None where none is proved to be safe there.

    Of as many loads, each the only one that its part may have, their moves and guesses. Peaks and waits are as for a
    part alone, to a thousandth, and never less than the true ones. No kinds of moves are told of their timings.
    """
    found: list[NearMotion | None] = [None] * len(loads)
    lots = dict[tuple[float, DampingRange], list[int]]()
    for place, (load, own, guess) in enumerate(zip(loads, moves, guesses, strict=True)):
        if guess.width < _SHARP and load.start == NO_JUMP and own.longest is own.shortest:
            band = load.natural_band
            lots.setdefault((round(band.highest / band.lowest, _SAME_RATIO), load.damping), []).append(place)
        else:
            found[place] = _alone(load, own, guess, check)
    for places in lots.values():
        tried = [_Tried.of(loads[place], moves[place], guesses[place]) for place in places]
        some = [(place, each) for place, each in zip(places, tried, strict=True) if each is not None]
        if some:
            proved = _Lot([each for _, each in some], check).proved()
            for (place, _), each in zip(some, proved, strict=True):
                found[place] = each
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


@dataclass(slots=True)
class _Tried:
    """A part with a motion to be proved: `acceleration` rad/s^2, `speed` rad/s."""

    load: LoadCase
    moves: IndexMoves
    allowed: Allowed
    acceleration: float
    speed: float
    pull_out: FloatArray

    @classmethod
    def of(cls, load: LoadCase, moves: IndexMoves, guess: Guess) -> _Tried | None:
        """With its guess, gentler by as much as that may be off; None where it can't be meant."""
        allowed = Allowed.of(all_limits(), [load], NARROW_MARGIN)
        speed = min(guess.speed, allowed.top_speed)
        v, pull_out = np.array([speed]), np.array([load.lowest_pull_out(speed)])
        steady = float(least(allowed.steady(v, pull_out), v)[0])
        acceleration = min(guess.acceleration * (1 - guess.width), steady)
        if acceleration <= 0:
            return None
        cruises = speed**2 * _ROUNDING < acceleration * moves.longest_of_all
        if cruises and not allowed.beside_bands(v, NARROW_MARGIN)[0]:
            return None
        return cls(load, moves, allowed, acceleration, speed, pull_out)

    def shares(self, peaks: tuple[float, float]) -> tuple[dict[str, float], frozenset[str]]:
        """How much of each limit, its reserve kept, is used up, 1 at the limit; and which bound the acceleration."""
        a, v, pull_out = np.array([self.acceleration]), np.array([self.speed]), self.pull_out
        ramps = self.allowed.steady_shares(a, v, pull_out)
        ramps |= self.allowed.peak_shares(peaks[0] * a, peaks[1] * a, v, pull_out)
        shares = self.allowed.speed_shares(self.speed) | {name: float(share[0]) for name, share in ramps.items()}
        return shares, frozenset(ramps)


class _Lot:
    """Parts whose bands are as wide and whose damping is the same."""

    def __init__(self, parts: Sequence[_Tried], check: Check) -> None:
        self._parts, self._check = parts, check
        bands = [each.load.natural_band for each in parts]
        self._ratio = max(band.highest / band.lowest for band in bands)
        self._damping = parts[0].load.damping
        self._slowest = np.array([band.lowest for band in bands])

    def proved(self) -> list[NearMotion | None]:
        """The motion of each, gentler by a little where that is needed; None where that doesn't help."""
        parts = self._parts
        first = [each.acceleration for each in parts]
        shares = dict[int, tuple[dict[str, float], frozenset[str]]]()
        peaks = np.ones((len(parts), 2))
        left = list(range(len(parts)))
        for _ in range(_GIVING_WAY):
            peaks[left] = self._peaks(left)
            over = []
            for place in left:
                shares[place] = found = parts[place].shares((float(peaks[place, 0]), float(peaks[place, 1])))
                most = max(found[0].values(), default=0.0)
                if most > 1 + _EXACT:
                    over.append(place)
                    parts[place].acceleration /= most + _EXACT
            left = [each for each in over if parts[each].acceleration >= first[each] * (1 - _LITTLE)]
            if not left:
                break
        unproved = {place for place, found in shares.items() if max(found[0].values(), default=0.0) > 1 + _EXACT}
        safe = [place for place in range(len(parts)) if place not in unproved]
        timed = dict(zip(safe, self._timed(safe), strict=True))
        return [self._told(place, shares[place], peaks[place], timed) for place in range(len(parts))]

    def _told(
        self,
        place: int,
        shares: tuple[dict[str, float], frozenset[str]],
        peaks: FloatArray,
        timed: dict[int, IndexTiming],
    ) -> NearMotion | None:
        if place not in timed:
            return None
        part, timing = self._parts[place], timed[place]
        pair = Pair(part.acceleration, part.speed, timing.index_s)
        speed, binding = binding_of(pair, *shares, part.moves)
        motion = SafeMotion(part.acceleration, speed, binding, timing)
        return NearMotion(motion, (float(peaks[0]), float(peaks[1])))

    def _peaks(self, places: Sequence[int]) -> FloatArray:
        """How far each of some parts swings at the most, shape (places, 2)."""
        parts = [self._parts[place] for place in places]
        lengths = [each.moves.different_lengths[0] for each in parts]
        count = np.array([each.size for each in lengths])
        length, (a, v, w) = np.concatenate(lengths), self._each(places, count)
        triangle = np.sqrt(length / a)
        ramp = np.minimum(v / a, triangle)
        cruise = np.maximum(np.maximum(length / v, triangle) - ramp, 0.0)
        swings = peaks_of(w * ramp, w * cruise, self._ratio, self._damping, self._check)
        begins = np.cumsum(count) - count
        pushing, holding = (np.maximum.reduceat(each, begins) for each in (swings.pushing, swings.holding))
        twisted = [
            (each.load.torsion.peak(up), each.load.torsion.peak(down))
            for each, up, down in zip(parts, pushing.tolist(), holding.tolist(), strict=True)
        ]
        return np.array(twisted)

    def _each(self, places: Sequence[int], count: NDArray[np.intp]) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Acceleration, speed and least natural frequency of some parts, each as many times as `count` says."""
        motions = np.array([(self._parts[place].acceleration, self._parts[place].speed) for place in places])
        of_each = np.column_stack([motions, self._slowest[places]]).repeat(count, axis=0)
        return of_each[:, 0], of_each[:, 1], of_each[:, 2]

    def _timed(self, places: Sequence[int]) -> list[IndexTiming]:
        """What the indexes of some parts take."""
        if not places:
            return []
        parts = [self._parts[place] for place in places]
        count = np.array([each.moves.shortest.size for each in parts])
        length, (a, v, w) = np.concatenate([each.moves.shortest for each in parts]), self._each(places, count)
        triangle = np.sqrt(length / a)
        durations = np.minimum(v / a, triangle) + np.maximum(length / v, triangle)
        begins = np.cumsum(count) - count
        weights = np.concatenate([each.moves.weights for each in parts])
        moving = np.add.reduceat(durations * weights, begins)
        of_load = np.array(
            [(half_microstep(each.load), each.load.torsion.first, each.load.torsion.rest) for each in parts]
        )
        tolerance, first, rest = of_load.repeat(count, axis=0).T
        gated = np.concatenate([each.moves.gated for each in parts])
        leads = np.concatenate([each.moves.lead_longest for each in parts])
        own = Gated(*(each[gated] for each in (length, leads, a, v, w, tolerance, first, rest)))
        settle = np.zeros(length.shape)
        settle[gated] = settle_times_of(own, self._ratio, self._damping, self._check)
        longest = np.maximum.reduceat(settle, begins)
        return [IndexTiming(move, wait) for move, wait in zip(moving.tolist(), longest.tolist(), strict=True)]
