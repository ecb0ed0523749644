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

    def chosen(self, those: NDArray[np.bool_] | NDArray[np.intp] | slice) -> Oscillators:
        """Some of them."""
        return Oscillators(self.natural[those], self.damping[those])

    def and_also(self, *others: Oscillators) -> Oscillators:
        """These and the `others`."""
        together = (self, *others)
        return Oscillators(
            np.concatenate([each.natural for each in together]), np.concatenate([each.damping for each in together])
        )

    def before(self, axes: int) -> tuple[FloatArray, FloatArray]:
        """`natural` and `damping` with as many axes of length 1 behind."""
        shape = (-1, *(1,) * axes)
        return self.natural.reshape(shape), self.damping.reshape(shape)


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """A cell divided into m pieces, in parts of the way from its start to its end.

    `places`: every corner once, shape (k, 2); `corners`: which of them are those of each piece, shape (m, 2 or 4), the
    piece's start first and its end last.
    """

    places: FloatArray
    corners: NDArray[np.intp]

    @classmethod
    def along(cls, count: int) -> Pieces:
        """A line in `count` equal ones."""
        first = np.arange(count)
        return cls(np.stack([np.linspace(0.0, 1.0, count + 1)] * 2, axis=-1), np.stack([first, first + 1], axis=-1))

    @classmethod
    def over(cls, by_frequency: int, dampings: tuple[float, ...]) -> Pieces:
        """A rectangle in that many equal ones along its side of frequencies, and at `dampings` along the other."""
        sides, by_damping = (np.linspace(0.0, 1.0, by_frequency + 1), np.array(dampings)), len(dampings) - 1
        places = np.stack(np.meshgrid(*sides, indexing="ij"), axis=-1).reshape(-1, 2)
        first = (np.arange(by_frequency)[:, None] * (by_damping + 1) + np.arange(by_damping)).ravel()
        aside = first + by_damping + 1
        return cls(places, np.stack([first, aside, first + 1, aside + 1], axis=-1))


ALONG, FIRST_ALONG = Pieces.along(4), Pieces.along(16)
OVER, FIRST_OVER = Pieces.over(3, (0.0, 0.5, 1.0)), Pieces.over(12, (0.0, 0.04, 0.12, 0.25, 0.5, 1.0))
"""Narrow where the damping is least: there a peak changes most from oscillator to oscillator."""


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Parts of the ranges: from `start` to `end`, each of shape (n, 2), ln w and asin(zeta).

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

    def those(self, chosen: NDArray[np.bool_]) -> Cells:
        """Some of them: `chosen` of shape (n,)."""
        return Cells(self.start[chosen], self.end[chosen])

    def split(self, pieces: Pieces) -> Cells:
        """Each of them in its m `pieces`, (n m, 2)."""
        start, size = self.start[:, None, :], self.size[:, None, :]
        places = (start + size * pieces.places)[:, pieces.corners[:, [0, -1]]]
        return Cells(places[:, :, 0].reshape(-1, 2), places[:, :, 1].reshape(-1, 2))


Judge = Callable[[Cells, Pieces], tuple[Cells, FloatArray, Callable[[], FloatArray]]]
"""Of cells and the pieces to divide them into: the n pieces, what is reached in each, what tells the most that can be.

Both of shape (n, functions), >= 0.
"""


def few(band: FrequencyBand, damping: DampingRange, frequencies: int, dampings: int) -> Oscillators:
    """Samples of the edge: `frequencies` at either end of the damping, `dampings` more at either end of the band."""
    along = np.geomspace(band.lowest, band.highest, frequencies)
    across = np.geomspace(damping.lowest, damping.highest, dampings + 2)[1:-1]
    natural = [along, along, np.full(dampings, band.lowest), np.full(dampings, band.highest)]
    ratio = [np.full(frequencies, damping.lowest), np.full(frequencies, damping.highest), across, across]
    return Oscillators(np.concatenate(natural), np.concatenate(ratio))


def round_the_edge(band: FrequencyBand, damping: DampingRange, frequencies: int, dampings: int) -> Oscillators:
    """Samples once round the edge, so that neighbours are neighbours: that many along each side, its end left out."""
    along = np.geomspace(band.lowest, band.highest, frequencies + 1)
    across = np.geomspace(damping.lowest, damping.highest, dampings + 1)
    low, high = (np.full(dampings, end) for end in (band.lowest, band.highest))
    weak, strong = (np.full(frequencies, end) for end in (damping.lowest, damping.highest))
    natural, ratio = (along[:-1], high, along[:0:-1], low), (weak, across[:-1], strong, across[:0:-1])
    return Oscillators(np.concatenate(natural), np.concatenate(ratio))


def least_damped(band: FrequencyBand, damping: DampingRange, frequencies: int) -> Oscillators:
    """Samples of the end that swings farthest in a move, nearly always: the least damping."""
    return Oscillators(np.geomspace(band.lowest, band.highest, frequencies), np.full(frequencies, damping.lowest))


def edge(band: FrequencyBand, damping: DampingRange) -> Cells:
    """The whole edge, each line of dampings in two cells: to be divided into `FIRST_ALONG` to begin with."""
    low, high = (math.log(each) for each in (band.lowest, band.highest))
    weak, strong = (math.asin(each) for each in (damping.lowest, damping.highest))
    middle = (weak + strong) / 2
    lines = [((low, end), (high, end)) for end in (weak, strong)]
    lines += [((w, start), (w, end)) for w in (low, high) for start, end in ((weak, middle), (middle, strong))]
    return Cells(*np.array(lines).swapaxes(0, 1))


def throughout(band: FrequencyBand, damping: DampingRange) -> Cells:
    """All of both ranges in one cell: to be divided into `FIRST_OVER` to begin with."""
    corners = [[math.log(each), math.asin(zeta)] for each, zeta in zip(_ends(band), _ends(damping), strict=True)]
    return Cells(np.array(corners[:1]), np.array(corners[1:]))


def _ends(of: FrequencyBand | DampingRange) -> tuple[float, float]:
    return of.lowest, of.highest


def worst_of(cells: Cells, judge: Judge, first: Pieces, then: Pieces, hair: float, least: float) -> FloatArray:
    """The largest of functions over `cells`, shape (functions,): never below it, above it by `hair` of it or `least`.

    `judge` divides them into the pieces `first`; a piece that may hold more than what is known to be reached is divided
    into the pieces `then`, and so on; and then the few around the largest, until the largest itself is sharp.
    """
    cells, reached, at_most = judge(cells, first)
    worst = reached.max(axis=0)
    for _ in range(_SPLITS):
        open_cells = (at_most() > worst * (1 + hair) + least).any(axis=-1)
        if not open_cells.any():
            break
        cells, reached, at_most = judge(cells.those(open_cells), then)
        worst = np.maximum(worst, reached.max(axis=0))
    else:
        worst = np.maximum(worst, at_most().max(axis=0))
    for _ in range(_SHARPENINGS):
        around = np.zeros(reached.shape[0], dtype=np.bool_)
        around[np.argsort(reached, axis=0)[-_SHARPENED:].ravel()] = True
        cells, reached, _ = judge(cells.those(around), then)
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
