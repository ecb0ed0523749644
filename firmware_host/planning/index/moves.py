"""The indexes of a job as a few groups of nearly equal length, so that a million of them cost no more than ten.

Lengths are magnitudes in rad of the part. A route of equal segments has two or three lengths, a microstep apart; of
many different lengths each group stands for a range, and whoever uses it counts the worst of that range.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray, require_not_negative
from firmware_host.planning.route.moves import Purpose

MOST_GROUPS = 16


@dataclass(frozen=True, slots=True, eq=False)
class IndexMoves:
    """Groups of moves, arrays of shape (groups,), groups >= 1.

    `shortest`, `longest`, `mean`: lengths (rad, > 0) in the group. `count`: how many moves. `gated`: whether a gate
    opens after them, so that they have to settle. `lead_shortest`, `lead_longest`: lengths of the move directly before,
    which ends without settling (a take-up of lost motion, say); 0 where there is none.
    """

    shortest: FloatArray
    longest: FloatArray
    mean: FloatArray
    count: FloatArray
    gated: NDArray[np.bool_]
    lead_shortest: FloatArray
    lead_longest: FloatArray

    @property
    def longest_of_all(self) -> float:
        """The longest move (rad)."""
        return float(self.longest.max())

    @property
    def weights(self) -> FloatArray:
        """Share of each group in the indexes, shape (groups,), their sum 1: of the gated moves if there are any."""
        counted = self.count * self.gated if self.gated.any() else self.count
        return np.asarray(counted / counted.sum())


def index_moves(turns: FloatArray, purposes: NDArray[np.int8] | None = None) -> IndexMoves:
    """Group the moves of `turns`: |part turns| of each, shape (n,), >= 0, n up to millions.

    One whole turn if none moves. `purposes`: `Purpose` of each, shape (n,); without them a gate opens after every move.
    """
    lengths = 2 * math.pi * require_not_negative("index", turns, "turns")
    gated = np.ones(lengths.shape, dtype=np.bool_) if purposes is None else purposes == Purpose.INDEX
    leads = np.zeros_like(lengths)
    if purposes is not None:
        after = np.flatnonzero(purposes[:-1] != Purpose.INDEX) + 1
        leads[after] = lengths[after - 1]
    moving = lengths > 0
    kinds = (moving & gated & (leads == 0), moving & gated & (leads > 0), moving & ~gated)
    groups = [
        row
        for kind, is_gated in zip(kinds, (True, True, False), strict=True)
        if kind.any()
        for row in _groups(lengths[kind], leads[kind], is_gated)
    ]
    if not groups:
        whole = 2 * math.pi
        groups = [(whole, whole, whole, 1.0, True, 0.0, 0.0)]
    shortest, longest, mean, count, settles, lead_shortest, lead_longest = (
        np.array(c) for c in zip(*groups, strict=True)
    )
    return IndexMoves(shortest, longest, mean, count, settles, lead_shortest, lead_longest)


def _groups(
    lengths: FloatArray, leads: FloatArray, gated: bool
) -> list[tuple[float, float, float, float, bool, float, float]]:
    """(shortest, longest, mean, count, gated, shortest lead, longest lead) of each group of moves of one kind."""
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
        (float(values[s]), float(values[e]), float(m), float(n), gated, *lead)
        for s, e, m, n in zip(starts.tolist(), ends.tolist(), mean.tolist(), number.tolist(), strict=True)
    ]
