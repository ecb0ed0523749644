"""The quickest motions near guesses that are not sharp, of many parts in one go.

As in `descent`, finer and finer grids, seen by a few oscillators: those that may ring longest near the guesses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.train.oscillators import Oscillators, round_the_edge
from firmware_host.mechanics.train.vibration import DampingRange, FrequencyBand
from firmware_host.planning.index.together.settling import Gated, settle_nearly
from firmware_host.planning.interrupt import Check

_SIDE, _SHRINK, _LAST = 5, 0.45, 2e-5
_NEARLY = 0.1  # of a move's time: what rings by so much less than the longest may ring longest nearby


@dataclass(frozen=True, slots=True, eq=False)
class Indexes:
    """The indexes of some parts: how long an average one takes with its settling, at motions near their own.

    `length` (rad), `weight` (share in an average index) and `begins` (where those of each part begin) of all moves;
    `gated`: those that gates open after, which are the moves `whose_gate`, in order.
    """

    length: FloatArray
    weight: FloatArray
    begins: NDArray[np.intp]
    gated: Gated
    whose_gate: NDArray[np.intp]

    @property
    def whose(self) -> NDArray[np.intp]:
        """The part that makes each move, counted from 0."""
        count = np.diff(np.append(self.begins, self.length.size))
        return np.arange(count.size).repeat(count)

    def moving(self, a: FloatArray, v: FloatArray) -> FloatArray:
        """Seconds of an average index without its settling, shape (..., parts) as the motions."""
        a, v = a[..., self.whose], v[..., self.whose]
        triangle = np.sqrt(self.length / a)
        seconds = np.minimum(v / a, triangle) + np.maximum(self.length / v, triangle)
        return np.add.reduceat(seconds * self.weight, self.begins, axis=-1)

    def settling(self, a: FloatArray, v: FloatArray, among: Oscillators) -> FloatArray:
        """The longest that each of `among` rings, nearly, shape (oscillators, ..., parts); 0 where no gate opens."""
        whose = self.whose[self.whose_gate]
        seconds = settle_nearly(self.gated, a[..., whose], v[..., whose], among)
        of_moves = np.zeros((*seconds.shape[:-1], self.length.size))
        of_moves[..., self.whose_gate] = np.maximum(seconds, 0.0)
        return np.maximum.reduceat(of_moves, self.begins, axis=-1)


def quickest_near(
    indexes: Indexes,
    motions: tuple[FloatArray, FloatArray],
    most: tuple[FloatArray, FloatArray],
    width: float,
    ratio: float,
    damping: DampingRange,
    check: Check,
) -> tuple[FloatArray, FloatArray]:
    """Acceleration and speed (rad/s^2, rad/s) of each part that make it quickest within the part `width` of `motions`.

    None more than `most`; how far the part swings is not looked at. `ratio`: of the highest natural frequency to the
    least. Shapes (parts,).
    """
    a, v = motions
    ring = round_the_edge(FrequencyBand(1.0, ratio), damping, 28, 8)
    each, moving = indexes.settling(a, v, ring), indexes.moving(a, v)
    longest = (each >= np.roll(each, 1, axis=0)) & (each >= np.roll(each, -1, axis=0))
    among = ring.chosen((longest & (each >= each.max(axis=0) - _NEARLY * moving)).any(axis=1))
    along = np.linspace(-1.0, 1.0, _SIDE)
    harder, faster = (side.ravel()[:, None] for side in np.meshgrid(along, along))
    rounds = max(math.ceil(math.log(_LAST / width) / math.log(_SHRINK)), 1)
    for wide in width * _SHRINK ** np.arange(rounds):
        check()
        near_a, near_v = np.minimum(a * np.exp(wide * harder), most[0]), np.minimum(v * np.exp(wide * faster), most[1])
        cost = indexes.moving(near_a, near_v) + indexes.settling(near_a, near_v, among).max(axis=0)
        best = cost.argmin(axis=0), np.arange(a.size)
        a, v = near_a[best], near_v[best]
    return a, v
