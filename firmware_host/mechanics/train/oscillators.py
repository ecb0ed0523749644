"""What one machine's oscillator may be, sampled: a band of natural frequencies, a range of damping ratios.

The worst over all of them is looked for one frequency and one damping at a time, and it can lie inside either range: at
one frequency a damping of 0.08 can ring longer than 0.05 and 0.2. Samples alone would miss the worst by a little; so
each kind of them comes with what bounds the rest.

The residual swing is worst on the edge of the two ranges, where one of the two is at an end. What is left a time t
after a sum of pulses is |P(s) exp(s t)|/(|s| Im s), with s = w (-zeta + i sqrt(1 - zeta^2)). Its logarithm is a
subharmonic function of s: those of an analytic function, of 1/|s| and of 1/Im s each are. Such a function is largest on
the edge of a region (maximum principle). A peak inside a move has no such rule: it is looked for all over.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.train.vibration import DampingRange, FrequencyBand

JUMPS = 4.0
"""Sum of the jumps of the acceleration in an index, over the acceleration: up, off, down, off."""

_QUARTERS = np.linspace(0.0, 1.0, 5)
ALONG = np.stack([np.stack([_QUARTERS[:-1]] * 2, axis=-1), np.stack([_QUARTERS[1:]] * 2, axis=-1)], axis=1)
"""A cell of the edge in four."""

_THIRDS = np.stack(np.meshgrid(np.arange(3), np.arange(3), indexing="ij"), axis=-1).reshape(-1, 2)
OVER = np.stack([_THIRDS / 3, (_THIRDS + 1) / 3], axis=1)
"""A cell of the ranges in nine."""

CORNERS = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])
ENDS = np.array([[0.0, 0.0], [1.0, 1.0]])

_SPLITS = 12
_SHARPENINGS, _SHARPENED = 4, 2


@dataclass(frozen=True, slots=True, eq=False)
class Oscillators:
    """Some oscillators, `natural` rad/s and `damping` ratio, each of shape (n,)."""

    natural: FloatArray
    damping: FloatArray

    def every(self, step: int) -> Oscillators:
        """One in `step` of them."""
        return Oscillators(self.natural[::step], self.damping[::step])

    def before(self, axes: int) -> tuple[FloatArray, FloatArray]:
        """`natural` and `damping` with as many axes of length 1 behind."""
        shape = (-1, *(1,) * axes)
        return self.natural.reshape(shape), self.damping.reshape(shape)


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Pieces of the ranges: from `start` to `end`, each of shape (n, 2), ln w and asin(zeta).

    On the edge a cell is the line from its start to its end, within the ranges the rectangle between the two.
    """

    start: FloatArray
    end: FloatArray

    @property
    def size(self) -> FloatArray:
        """Their lengths by ln w and by asin(zeta), shape (n, 2)."""
        return self.end - self.start

    def at(self, share: FloatArray) -> Oscillators:
        """The oscillators that part of the way from start to end: `share` of shape (k, 2), 0 to 1; (n k,) in all."""
        places = (self.start[:, None, :] + self.size[:, None, :] * share).reshape(-1, 2)
        return Oscillators(np.exp(places[:, 0]), np.sin(places[:, 1]))

    def split(self, those: NDArray[np.bool_], pieces: FloatArray) -> Cells:
        """`those` of them in the `pieces` (k, 2, 2), start and end of each as parts of the way."""
        start, size = self.start[those][:, None, :], self.size[those][:, None, :]
        return Cells((start + size * pieces[:, 0]).reshape(-1, 2), (start + size * pieces[:, 1]).reshape(-1, 2))


def few(band: FrequencyBand, damping: DampingRange, frequencies: int, dampings: int) -> Oscillators:
    """Samples of the edge: `frequencies` at either end of the damping, `dampings` more at either end of the band."""
    along = np.geomspace(band.lowest, band.highest, frequencies)
    across = np.geomspace(damping.lowest, damping.highest, dampings + 2)[1:-1]
    natural = [along, along, np.full(dampings, band.lowest), np.full(dampings, band.highest)]
    ratio = [np.full(frequencies, damping.lowest), np.full(frequencies, damping.highest), across, across]
    return Oscillators(np.concatenate(natural), np.concatenate(ratio))


def least_damped(band: FrequencyBand, damping: DampingRange, frequencies: int) -> Oscillators:
    """Samples of the end that swings farthest in a move, nearly always: the least damping."""
    return Oscillators(np.geomspace(band.lowest, band.highest, frequencies), np.full(frequencies, damping.lowest))


def edge(band: FrequencyBand, damping: DampingRange) -> Cells:
    """The whole edge, in cells to begin with."""
    along = np.linspace(math.log(band.lowest), math.log(band.highest), 17)
    across = np.linspace(math.asin(damping.lowest), math.asin(damping.highest), 33)
    lines = [np.stack([along, np.full(along.size, end)], axis=-1) for end in across[[0, -1]]]
    lines += [np.stack([np.full(across.size, end), across], axis=-1) for end in along[[0, -1]]]
    return Cells(np.concatenate([line[:-1] for line in lines]), np.concatenate([line[1:] for line in lines]))


def throughout(band: FrequencyBand, damping: DampingRange) -> Cells:
    """All of both ranges, in cells to begin with."""
    along = np.linspace(math.log(band.lowest), math.log(band.highest), 9)
    across = np.linspace(math.asin(damping.lowest), math.asin(damping.highest), 5)
    corners = np.stack(np.meshgrid(along, across, indexing="ij"), axis=-1)
    return Cells(corners[:-1, :-1].reshape(-1, 2), corners[1:, 1:].reshape(-1, 2))


def worst_of(
    cells: Cells, judge: Callable[[Cells], tuple[FloatArray, FloatArray]], pieces: FloatArray, hair: float, least: float
) -> FloatArray:
    """The largest of functions over `cells`, shape (functions,): never below it, above it by `hair` of it or `least`.

    `judge`: for n cells (what is reached in each, what it can reach at most), each of shape (n, functions), >= 0. A
    cell that may hold more than what is known to be reached is split into `pieces`; and then the few around the
    largest, until the largest itself is sharp.
    """
    reached, most = judge(cells)
    worst = reached.max(axis=0)
    for _ in range(_SPLITS):
        open_cells = (most > worst * (1 + hair) + least).any(axis=-1)
        if not open_cells.any():
            break
        cells = cells.split(open_cells, pieces)
        reached, most = judge(cells)
        worst = np.maximum(worst, reached.max(axis=0))
    else:
        worst = np.maximum(worst, most.max(axis=0))
    for _ in range(_SHARPENINGS):
        around = np.zeros(reached.shape[0], dtype=np.bool_)
        around[np.argsort(reached, axis=0)[-_SHARPENED:].ravel()] = True
        cells = cells.split(around, pieces)
        reached, _ = judge(cells)
        worst = np.maximum(worst, reached.max(axis=0))
    return np.asarray(worst * (1 + hair) + least)


def step_bend(cells: Cells) -> FloatArray:
    """By how much a peak in a move can lie above those at the corners of `cells`, over the acceleration, shape (n,).

    Between two points a step h apart a function is at most h^2/8 times its largest second derivative above the larger
    of the two. The acceleration at an instant is a sum of step responses, one for each jump of `JUMPS`. With x = w t
    and sin(tilt) = zeta the second derivative of one by ln w is at most (x^2 + x) exp(-zeta x)/cos(tilt), that by the
    tilt at most (x^2 + (3 + 2 tan) x + 1 + 2 tan + tan^2 + 1/cos^2) exp(-zeta x)/cos(tilt). Of these x exp(-zeta x) is
    at most 1/(e zeta), and x^2 exp(-zeta x) at most (2/(e zeta))^2.
    """
    least, tangent = np.sin(cells.start[:, 1]), np.tan(cells.end[:, 1])
    secant = 1 / np.cos(cells.end[:, 1])
    once, twice = 1 / (math.e * least), np.square(2 / (math.e * least))
    by_tilt = twice + (3 + 2 * tangent) * once + 1 + 2 * tangent + np.square(tangent) + np.square(secant)
    squares = np.square(cells.size)
    return np.asarray(JUMPS * secant * ((twice + once) * squares[:, 0] + by_tilt * squares[:, 1]) / 8)
