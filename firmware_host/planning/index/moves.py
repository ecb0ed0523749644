"""The indexes of a job as a few groups of nearly equal length, so that a million of them cost no more than ten.

Lengths are magnitudes in rad of the part. A route of equal segments has two or three lengths, a microstep apart; of
many different lengths each group stands for a range, and whoever uses it counts the worst of that range.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import IntEnum
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray, require_not_negative
from firmware_host.planning.route.moves import Purpose

MOST_GROUPS = 16


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
    """
    lengths = 2 * math.pi * require_not_negative("index", turns, "turns")
    kinds, leads = np.full(lengths.shape, MoveKind.INDEX, dtype=np.int8), np.zeros_like(lengths)
    if purposes is not None:
        after = np.flatnonzero(purposes[:-1] != Purpose.INDEX) + 1
        leads[after] = lengths[after - 1]
        kinds[leads > 0] = MoveKind.RETURN
        for purpose, kind in _OF_PURPOSE.items():
            kinds[purposes == purpose] = kind
    leads[kinds != MoveKind.RETURN] = 0.0
    groups = [
        (*row, kind)
        for kind in MoveKind
        if (those := (kinds == kind) & (lengths > 0)).any()
        for row in _groups(lengths[those], leads[those])
    ]
    if not groups:
        whole = 2 * math.pi
        groups = [(whole, whole, whole, 1.0, 0.0, 0.0, MoveKind.INDEX)]
    *columns, of_kind = zip(*groups, strict=True)
    shortest, longest, mean, count, lead_shortest, lead_longest = (np.array(column) for column in columns)
    longest = _one_if_equal(shortest, longest)
    return IndexMoves(shortest, longest, mean, count, np.array(of_kind, np.int8), lead_shortest, lead_longest)


def _one_if_equal(shortest: FloatArray, longest: FloatArray) -> FloatArray:
    """`longest`, or `shortest` itself where it is the same: what is one array needn't be reckoned twice."""
    return shortest if np.array_equal(shortest, longest) else longest


def _groups(lengths: FloatArray, leads: FloatArray) -> list[tuple[float, float, float, float, float, float]]:
    """(shortest, longest, mean, count, shortest lead, longest lead) of each group of moves of one kind."""
    values, counts = np.unique(lengths, return_counts=True)
    if values.size > MOST_GROUPS:
        share = (np.cumsum(counts) - counts / 2) / lengths.size
        starts = np.unique(np.searchsorted(share, np.arange(MOST_GROUPS) / MOST_GROUPS))
    else:
        starts = np.arange(values.size)
    ends = np.append(starts[1:], values.size) - 1
    number = np.add.reduceat(counts, starts)
    mean = np.add.reduceat(values * counts, starts) / number
    lead = (float(leads.min()), float(leads.max()))
    return [
        (float(values[s]), float(values[e]), float(m), float(n), *lead)
        for s, e, m, n in zip(starts.tolist(), ends.tolist(), mean.tolist(), number.tolist(), strict=True)
    ]
