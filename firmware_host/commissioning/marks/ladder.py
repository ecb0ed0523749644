"""A ladder of lines that lie at known depths below the crown: where they are marked well, there is the marking window.

A line that is marked at the angle a from straight above lies r (1 - cos a) below the crown (circle geometry): evenly
spaced depths are lines that come closer and closer together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from firmware_host.errors import FormulaRangeError
from firmware_host.model.job.window import Window
from firmware_host.planning.layout.window import marking_window

RUNGS = 24
"""The deepest rung, where the part is thick enough for it."""
STEPS = 5
"""Usual: so many rungs go into the half-depth that is stated."""
FOCUS_RUNG = 10
"""So many rungs below the crown the focus is set: both ends of a window of up to twice the stated depth then show."""
_STEEPEST = math.radians(50)
"""A line farther from straight above is not drawn: common practice, no source."""
_FEWEST = 2 * STEPS
_LEAST_M = 1e-6


@dataclass(frozen=True)
class Rung:
    """`number` from 0 at the crown; `depth` below it (m), `angle` from straight above (rad)."""

    number: int
    depth: float
    angle: float


def rungs(radius: float, step: float) -> tuple[Rung, ...]:
    """The rungs of a part of `radius` (m), each `step` (m) below the one before; at most 50 deg from straight above.

    Raises `FormulaRangeError` for a step below 1 um, and where fewer than ten fit on the part.
    """
    most = radius * (1 - math.cos(_STEEPEST)) / _FEWEST
    if not _LEAST_M <= step <= most:
        raise FormulaRangeError("step of the rungs", step * 1e3, "mm", most * 1e3, "Choose one below that")
    deepest = min(RUNGS, math.floor(radius * (1 - math.cos(_STEEPEST)) / step * (1 + 1e-12)))
    return tuple(Rung(each, each * step, math.acos(1 - each * step / radius)) for each in range(deepest + 1))


def usual_step(window: Window, radius: float) -> float:
    """A fifth of the stated half-depth (m), or less where the part of `radius` (m) is too thin for enough rungs."""
    stated = marking_window(window, radius).half_depth / STEPS
    return min(stated, radius * (1 - math.cos(_STEEPEST)) / (2 * FOCUS_RUNG))


def focus_depth(step: float) -> float:
    """How far below the crown the focus is set for a ladder of this `step` (m)."""
    return FOCUS_RUNG * step
