"""Points that the way down has come to, and the grids that are laid around them."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray

_IN_REACH = 2.5  # of a grid's width: how much quicker than its middle its best may be
_OUTWARD = 0.75  # in widths: a narrow valley runs on beyond a best so far out


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Places around a point, in widths, shape (n,): speeds and accelerations.

    `follows`: whether these follow the largest steady one at each speed. `outward`: those near the border.
    `shrink`: how much narrower the next grid is.
    """

    faster: FloatArray
    harder: FloatArray
    follows: NDArray[np.bool_]
    outward: NDArray[np.bool_]
    shrink: float

    @classmethod
    def of(cls, side: int, shrink: float) -> Grid:
        """A square of `side` places a side."""
        along = np.linspace(-1.0, 1.0, side)
        faster, harder, follows = (
            each.ravel() for each in np.meshgrid(along, along, np.array([True, False]), indexing="ij")
        )
        return cls(faster, harder, follows, np.maximum(np.abs(faster), np.abs(harder)) >= _OUTWARD, shrink)


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """Some points: `acceleration` rad/s^2, `speed` rad/s, `cost` s; each of shape (n,).

    `width`: how far around them the next grid reaches, as a part of either. `peaks`: farthest swing over the
    acceleration, pushed on and held back, shape (2, n), as seen so far `away` at most (a part of either, 0: right
    there); NaN where nobody looked.
    """

    acceleration: FloatArray
    speed: FloatArray
    cost: FloatArray
    width: FloatArray
    peaks: FloatArray
    away: FloatArray

    @classmethod
    def at(cls, acceleration: FloatArray, speed: FloatArray, cost: FloatArray, width: float) -> Points:
        """Points around which a grid reaches as far as `width`; nobody looked yet how far they swing."""
        n = cost.size
        return cls(acceleration, speed, cost, np.full(n, width), np.full((2, n), np.nan), np.zeros(n))

    def and_also(self, other: Points) -> Points:
        """These and the `other` ones."""
        pairs = ((getattr(self, each.name), getattr(other, each.name)) for each in fields(self))
        return Points(*(np.concatenate(pair, axis=-1) for pair in pairs))

    def those(self, chosen: list[int]) -> Points:
        """Some of them."""
        return Points(*(getattr(self, each.name)[..., chosen] for each in fields(self)))

    def where(self, better: NDArray[np.bool_], other: Points) -> Points:
        """These where they are `better`, elsewhere the `other` ones."""
        pairs = ((getattr(self, each.name), getattr(other, each.name)) for each in fields(self))
        return Points(*(np.where(better, *pair) for pair in pairs))

    def best_apart(self, most: int) -> Points:
        """The `most` points of least cost, of those that lie within the width of each other only the best."""
        if self.cost.size == 1 and self.cost[0] < np.inf:
            return self
        of_a, of_v, width = self.acceleration.tolist(), self.speed.tolist(), self.width.tolist()
        chosen = list[int]()
        worth = self.cost <= self.cost.min(initial=np.inf) * (1 + _IN_REACH * self.width)
        for each in np.argsort(np.where(worth, self.cost, np.inf), kind="stable")[: int(worth.sum())].tolist():
            near = (k for k in chosen if abs(of_v[k] - of_v[each]) < width[k] * of_v[each])
            if len(chosen) < most and not any(abs(of_a[k] - of_a[each]) < width[k] * of_a[each] for k in near):
                chosen.append(each)
        return self.those(chosen)
