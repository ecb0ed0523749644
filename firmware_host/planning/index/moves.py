"""The indexes of a job as a few groups of nearly equal length, so that a million of them cost no more than ten.

Lengths are magnitudes in rad of the part. A route of equal segments has two or three lengths, a microstep apart; of
many different lengths each group stands for a range, and whoever uses it counts the worst of that range.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray, require_not_negative
from firmware_host.planning.route.moves import Purpose

MOST_GROUPS = 16
_FEW, _REMEMBERED = 256, 256


class MoveKind(IntEnum):
    """What the moves of a group are.

    `INDEX`: from segment to segment. `RETURN`: on to a segment again after a take-up or an unwinding that went past it.
    """

    INDEX = 0
    RETURN = 1
    TAKE_UP = 2
    FINISH = 3
    UNWIND = 4


_OF_PURPOSE = {Purpose.TAKE_UP: MoveKind.TAKE_UP, Purpose.FINISH: MoveKind.FINISH, Purpose.UNWIND: MoveKind.UNWIND}


@dataclass(frozen=True, eq=False)
class IndexMoves:
    """Groups of moves, arrays of shape (groups,), groups >= 1.

    `shortest`, `longest`, `mean`: lengths (rad, > 0) in the group; the first two are one array where no group holds
    several. `count`: how many moves. `kind`: a `MoveKind`
    each; those that a gate opens after have to settle. `lead_shortest`, `lead_longest`: lengths of the move directly
    before, which ends without settling (a take-up of lost motion, say); 0 where there is none.
    """

    shortest: FloatArray
    longest: FloatArray
    mean: FloatArray
    count: FloatArray
    kind: NDArray[np.int8]
    lead_shortest: FloatArray
    lead_longest: FloatArray

    @cached_property
    def gated(self) -> NDArray[np.bool_]:
        """Whether a gate opens after the moves of each group, shape (groups,)."""
        return np.asarray(self.kind <= MoveKind.RETURN)

    @cached_property
    def led(self) -> bool:
        """Whether something leads to any of the gated groups."""
        return bool(self.lead_longest[self.gated].any())

    @cached_property
    def gated_lengths(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Shortest, longest and mean of the gated groups, shape (gated groups,); behind them their leads, if `led`."""
        shortest, longest, mean = (each[self.gated] for each in (self.shortest, self.longest, self.mean))
        if self.led:
            first, last = self.lead_shortest[self.gated], self.lead_longest[self.gated]
            shortest, longest = np.append(shortest, first), np.append(longest, last)
            mean = np.append(mean, (first + last) / 2)
        return shortest, _one_if_equal(shortest, longest), mean

    @cached_property
    def different_lengths(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Shortest, longest and mean of the groups, those of one length once, shape (lengths,)."""
        if self.longest is not self.shortest:
            return self.shortest, self.longest, self.mean
        lengths = np.unique(self.shortest)
        return lengths, lengths, lengths

    @cached_property
    def longest_of_all(self) -> float:
        """The longest move (rad)."""
        return float(self.longest.max())

    @cached_property
    def weights(self) -> FloatArray:
        """Share of each group in the indexes that the part really makes, shape (groups,), their sum 1.

        A return is none of them, unless nothing else leads to a segment; without any gate every move counts.
        """
        indexes = self.kind == MoveKind.INDEX
        counted = next((self.count * each for each in (indexes, self.gated) if each.any()), self.count)
        return np.asarray(counted / counted.sum())


def index_moves(turns: FloatArray, purposes: NDArray[np.int8] | None = None) -> IndexMoves:
    """Group the moves of `turns`: |part turns| of each, shape (n,), >= 0, n up to millions.

    One whole turn if none moves. `purposes`: `Purpose` of each, shape (n,); without them a gate opens after every move.
    Those of a few moves are remembered: many parts make the same.
    """
    turns = np.asarray(turns, dtype=np.float64)
    purposes = np.asarray(purposes, dtype=np.int8) if purposes is not None else None
    if turns.size > _FEW:
        return _moves_of(turns, purposes)
    return _remembered(turns.tobytes(), purposes.tobytes() if purposes is not None else None)


@lru_cache(maxsize=_REMEMBERED)
def _remembered(turns: bytes, purposes: bytes | None) -> IndexMoves:
    return _moves_of(np.frombuffer(turns), np.frombuffer(purposes, np.int8) if purposes is not None else None)


def _moves_of(turns: FloatArray, purposes: NDArray[np.int8] | None) -> IndexMoves:
    lengths = 2 * math.pi * require_not_negative("index", turns, "turns")
    kinds, leads = np.full(lengths.shape, MoveKind.INDEX, dtype=np.int8), np.zeros_like(lengths)
    if purposes is not None:
        after = np.flatnonzero(purposes[:-1] != Purpose.INDEX) + 1
        leads[after] = lengths[after - 1]
        kinds[leads > 0] = MoveKind.RETURN
        for purpose, kind in _OF_PURPOSE.items():
            kinds[purposes == purpose] = kind
    leads[kinds != MoveKind.RETURN] = 0.0
    moving = np.flatnonzero(lengths > 0)
    if not moving.size:
        return _grouped(np.array([2 * math.pi]), np.array([MoveKind.INDEX], dtype=np.int8), np.zeros(1))
    by_length = moving[np.argsort(lengths[moving], kind="stable")]
    order = by_length[np.argsort(kinds[by_length], kind="stable")]
    return _grouped(lengths[order], kinds[order], leads[order])


def _one_if_equal(shortest: FloatArray, longest: FloatArray) -> FloatArray:
    """`longest`, or `shortest` itself where it is the same: what is one array needn't be reckoned twice."""
    return shortest if np.array_equal(shortest, longest) else longest


def _grouped(lengths: FloatArray, kinds: NDArray[np.int8], leads: FloatArray) -> IndexMoves:
    """Groups of moves that are sorted by their kinds, and by their lengths within each."""
    first = np.append(True, (lengths[1:] != lengths[:-1]) | (kinds[1:] != kinds[:-1]))
    starts = np.flatnonzero(first)
    values, counts, kind = lengths[starts], np.diff(np.append(starts, lengths.size)), kinds[starts]
    begins = _begins(counts, kind)
    ends = np.append(begins[1:], values.size) - 1
    number = np.add.reduceat(counts, begins)
    shortest = values[begins]
    longest = _one_if_equal(shortest, values[ends])
    mean = shortest if begins.size == values.size else np.add.reduceat(values * counts, begins) / number
    returns = leads[kinds == MoveKind.RETURN]
    led = kind[begins] == MoveKind.RETURN
    first_lead, last_lead = (np.where(led, end, 0.0) for end in (returns.min(initial=np.inf), returns.max(initial=0.0)))
    return IndexMoves(shortest, longest, mean, number.astype(np.float64), kind[begins], first_lead, last_lead)


def _begins(counts: NDArray[np.intp], kind: NDArray[np.int8]) -> NDArray[np.intp]:
    """Which of the different lengths begins each group: all of them, where a kind has no more than `MOST_GROUPS`."""
    if np.bincount(kind).max() <= MOST_GROUPS:
        return np.arange(counts.size)
    begins = []
    for each in np.unique(kind):
        those = np.flatnonzero(kind == each)
        if those.size > MOST_GROUPS:
            share = (np.cumsum(counts[those]) - counts[those] / 2) / counts[those].sum()
            places = np.searchsorted(share, np.arange(MOST_GROUPS) / MOST_GROUPS)
            those = those[np.unique(np.minimum(places, those.size - 1))]
        begins.append(those)
    return np.concatenate(begins)
