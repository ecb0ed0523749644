"""Which marking windows a ladder's readings leave open: each that they allow, weighed by how well it explains them.

The ends of the window, how far the crown stands beside the middle of the field, and how finely the eye sees are not
known beforehand: each is drawn alike over all that may be (JCGM 101:2008, 6.4.2, rectangular distributions), and what
the readings leave of it is what is known (Bayes; JCGM 101:2008, 6.1.2). All of it on a grid, so that the same readings
always tell the same.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.errors import FormulaRangeError

Floats = NDArray[np.float64]

EYE = ((0.02, 0.6), (0.1, 0.2), (0.3, 0.1), (0.8, 0.1))
"""How finely the eye sees an end (standard deviation in steps of the ladder), and how often: no source."""
_FINE = 12
"""So many places of an end are looked at for each step of the ladder."""
_MARGIN = 1.5
"""So many steps beyond the rungs that were read an end may lie."""
_SIDEWAYS, _PLACES = 2.0, 41
"""So many steps (at the deep end) the crown's place may make of the reading, to each side; places looked at."""
_CENTRED = 0.5
"""How often it stands in the middle, as somebody has set it, and not anywhere: no source."""
_EVEN = math.sqrt(3) / math.pi
"""Scale of a logistic distribution, over its standard deviation."""


@dataclass(frozen=True)
class Seen:
    """One side of one ladder: `side` 1 (right) or -1, and the rungs that are good, from `first` to `last`.

    The rung before the first and the one behind the last are bad: 0 < first <= last.
    """

    side: int
    first: int
    last: int


@dataclass(frozen=True)
class WindowFound:
    """All in m: `half` the depth of the window, its `middle` below the crown; the crown stands `beside`, + right."""

    half: Measured
    middle: Measured
    beside: Measured


def window_of(seen: Sequence[Seen], radius: float, step: float) -> WindowFound:
    """The window of at least one reading by rungs `step` (m) apart in depth on a part of `radius` (m).

    Raises `FormulaRangeError` without a reading, and for one whose end the ladder does not show.
    """
    if not seen or any(not 0 < each.first <= each.last for each in seen):
        raise FormulaRangeError(
            "good rungs", len(seen), "", 1, "Read the first good rung and the last, below the crown"
        )
    beside, prior = _places(seen, radius, step)
    top = _grid([each.first - 1 for each in seen], step)
    bottom = _grid([each.last for each in seen], step)
    tops = _likely(Counter((each.side, each.first - 1) for each in seen), top, beside, radius, step)
    bottoms = _likely(Counter((each.side, each.last) for each in seen), bottom, beside, radius, step)
    often = np.array([share for _, share in EYE])
    weighed = tops * often[:, None, None] * prior[None, :, None]
    both = np.tensordot(weighed, bottoms, axes=((0, 1), (0, 1)))
    aside = np.asarray((weighed.sum(axis=2) * bottoms.sum(axis=2)).sum(axis=0))[:-1]
    first, last = np.indices(both.shape)
    apart, along = last - first + top.size - 1, last + first
    halves = (bottom[0] - top[-1] + np.arange(apart.max() + 1) * step / _FINE) / 2
    middles = (bottom[0] + top[0] + np.arange(along.max() + 1) * step / _FINE) / 2
    kept = np.where(bottom[None, :] >= top[:, None], both, 0.0).ravel()
    return WindowFound(
        _told(halves, np.asarray(np.bincount(apart.ravel(), kept), dtype=np.float64)),
        _told(middles, np.asarray(np.bincount(along.ravel(), kept), dtype=np.float64)),
        _told(beside[:-1], aside),
    )


def _places(seen: Sequence[Seen], radius: float, step: float) -> tuple[Floats, Floats]:
    """Where the crown may stand (m), and how likely each place is beforehand: set to the middle, or anywhere."""
    deep = sum(each.last + 0.5 for each in seen) / len(seen) * step
    slope = math.sqrt(max(2 * radius * deep - deep**2, 0.0)) / radius
    unlike = [_across(each, radius, step) * each.side for each in seen]
    right, left = ([each for each, one in zip(unlike, seen, strict=True) if one.side == side] for side in (1, -1))
    middle = (sum(right) / len(right) + sum(left) / len(left)) / 2 if right and left else 0.0
    reach = step / slope
    places = middle + np.linspace(-_SIDEWAYS, _SIDEWAYS, _PLACES) * reach
    anywhere = np.full(_PLACES, (1 - _CENTRED) / _PLACES)
    return np.append(places, 0.0), np.append(anywhere, _CENTRED)


def _across(each: Seen, radius: float, step: float) -> float:
    """How far from the crown the window's middle lies on one side (m along x)."""
    ends = ((each.first - 0.5) * step, (each.last + 0.5) * step)
    return sum(math.sqrt(max(2 * radius * depth - depth**2, 0.0)) for depth in ends) / 2


def _grid(rungs: Sequence[int], step: float) -> Floats:
    """Depths (m) at which an end is looked for that lies between a rung and the next."""
    low, high = min(rungs) - _MARGIN, max(rungs) + 1 + _MARGIN
    return np.asarray((np.arange(round((high - low) * _FINE)) + 0.5) / _FINE + low) * step


def _likely(read: Counter[tuple[int, int]], ends: Floats, beside: Floats, radius: float, step: float) -> Floats:
    """How likely an end between those rungs and the next is read, shape (eye, beside, ends)."""
    scale = np.array([size for size, _ in EYE])[:, None, None] * step * _EVEN
    total = np.zeros((len(EYE), beside.size, ends.size))
    for (side, rung), times in read.items():
        above, below = (_depths(side, each, beside, radius, step)[None, :, None] for each in (rung, rung + 1))
        chance = np.tanh((below - ends) / (2 * scale)) - np.tanh((above - ends) / (2 * scale))
        total += times * np.log(np.maximum(chance / 2, 1e-300))
    return np.asarray(np.exp(total - total.max()))


def _depths(side: int, rung: int, beside: Floats, radius: float, step: float) -> Floats:
    """How deep (m) a rung that is drawn for the middle of the field really lies, the crown `beside` it."""
    depth = rung * step
    drawn = side * math.sqrt(max(2 * radius * depth - depth**2, 0.0))
    across = np.clip(drawn - beside, -radius, radius)
    return np.asarray(radius - np.sqrt(radius**2 - across**2))


def _told(values: Floats, weights: Floats) -> Measured:
    """Mean and standard deviation of what is left (values evenly apart); ends that leave 2.5 of 100 on each side."""
    shares = weights / weights.sum()
    mean = float(values @ shares)
    apart = float(values[1] - values[0])
    deviation = math.sqrt(float((values - mean) ** 2 @ shares) + apart**2 / 12)
    edges = np.append(values, values[-1] + apart) - apart / 2
    climbed = np.append(0.0, np.cumsum(shares))
    low, high = (float(np.interp(share, climbed, edges)) for share in (0.025, 0.975))
    return Measured(mean, deviation, ends=(low, high))
