"""What would make a job surer: data measured better, or a gentler ramp."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.reliability.chance import Chance, chance_of
from firmware_host.planning.reliability.inputs import UncertainInput

MEASURED = 0.05
"""How well a datum is known that somebody measured with simple means, plus-minus: common practice, no source."""

MOST_DRAWS = 20_000
"""Draws of each what-if: enough for the lower end of an interval to reach `reliability_chance.SURE_ENOUGH`."""

_MOST_MEASURED = 3
_GENTLEST = 0.02
_HALVINGS = 8


@dataclass(frozen=True, slots=True)
class Measured:
    """The `chance` if all data of `names` were confirmed to within `MEASURED` by measuring them."""

    names: tuple[str, ...]
    chance: Chance


@dataclass(frozen=True, slots=True)
class Better:
    """Ways to a better verdict.

    `measured`: the datum that matters most measured, then the next as well, until it holds or three are.
    `acceleration`: the highest of the part (rad/s^2) with which it holds as the data are, all else as planned; None
    where even a fiftieth of the planned one doesn't.
    """

    measured: tuple[Measured, ...]
    acceleration: float | None


def better_measured(
    inputs: Sequence[UncertainInput], factors: FloatArray, margins_of: Callable[[FloatArray], FloatArray]
) -> tuple[Measured, ...]:
    """The chances with the data known better one after another, in the order of `inputs`, most important first.

    `factors`: their draws, shape (inputs, draws); `margins_of`: the smallest margin of each draw, shape (draws,), for
    factors of that shape. A datum that is known as well already is passed over.
    """
    known = factors.copy()
    names: list[str] = []
    found: list[Measured] = []
    for row, each in enumerate(inputs):
        half = (each.factors.highest - each.factors.lowest) / 2
        if half <= MEASURED or len(found) == _MOST_MEASURED:
            continue
        middle = (each.factors.highest + each.factors.lowest) / 2
        known[row] = 1 + (factors[row] - middle) * (MEASURED / half)
        names.append(each.name)
        found.append(Measured(tuple(names), chance_of("all", margins_of(known))))
        if found[-1].chance.verdict is Verdict.HOLDS:
            break
    return tuple(found)


def gentler_acceleration(planned: float, margins_of: Callable[[float], FloatArray]) -> float | None:
    """The highest acceleration (rad/s^2, below `planned`) at which the chance holds, by halving; None if none does.

    `margins_of`: the smallest margin of each draw at an acceleration. Where a slower ramp rings worse than a quicker
    one it may not be the highest of all, but it is one that holds.
    """

    def holds(share: float) -> bool:
        return chance_of("all", margins_of(share * planned)).verdict is Verdict.HOLDS

    low, high = _GENTLEST, 1.0
    if not holds(low):
        return None
    for _ in range(_HALVINGS):
        middle = float(np.sqrt(low * high))
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low * planned
