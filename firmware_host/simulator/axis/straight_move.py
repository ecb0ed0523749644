"""From whole steps to a block the motion kernel can run: the axes' limits seen along a straight path."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from firmware_host.simulator.axis.motion import Block, BlockKind

WhenTooFast = Literal["lose-time", "crash"]
"""What a board does when it is asked for more steps per second than it can make."""


@dataclass(frozen=True)
class AxisLimits:
    """What one axis is set to: steps/unit, units/s, units/s^2 (all > 0), and the direction of its motor (+1 or -1)."""

    steps_per_unit: float
    rate: float
    acceleration: float
    shaft_sign: int = 1


def straight_block(
    delta_steps: tuple[int, ...],
    axes: Sequence[AxisLimits],
    *,
    highest_step_rate: float,
    when_too_fast: WhenTooFast,
    kind: BlockKind = "move",
) -> Block:
    """The block of a straight move by `delta_steps` (one per axis, at least one not 0), as quick as the axes allow.

    Along the path each axis goes at its share of the speed and the acceleration, so the smallest limit / share rules.
    `highest_step_rate` in steps/s of the quickest axis.
    """
    lengths = [steps / axis.steps_per_unit for steps, axis in zip(delta_steps, axes, strict=True)]
    length = math.hypot(*lengths)
    direction = tuple(part / length for part in lengths)
    used = [(axis, abs(part)) for axis, part in zip(axes, direction, strict=True) if part]
    speed = min(axis.rate / part for axis, part in used)
    possible = highest_step_rate * length / max(map(abs, delta_steps))
    crashes = when_too_fast == "crash"
    return Block(
        delta_steps=delta_steps,
        shaft_sign=tuple(axis.shaft_sign for axis in axes),
        direction=direction,
        length=length,
        speed=speed if crashes else min(speed, possible),
        acceleration=min(axis.acceleration / part for axis, part in used),
        crash_speed=possible if crashes else math.inf,
        kind=kind,
    )


def slowed(block: Block, speed: float, acceleration: float = math.inf) -> Block:
    """The same move no quicker than `speed` (units/s along the path, > 0) and `acceleration` (units/s^2, > 0)."""
    return replace(block, speed=min(block.speed, speed), acceleration=min(block.acceleration, acceleration))


def starting(block: Block, start_speed: float, first_step_rate: float = 0.0) -> Block:
    """The same move, which starts from rest and ends at `start_speed` (units/s along the path, >= 0).

    With `first_step_rate` (steps/s, > 0; counts instead of `start_speed`) its first step comes at once and the second
    1/rate later, whatever the acceleration asks.
    """
    most = block.most_steps
    if not first_step_rate or most < 2:
        return replace(block, start_speed=start_speed)
    return replace(
        block,
        length=block.length * (most - 1) / most,
        lead_steps=1,
        wait_s=1 / first_step_rate,
        start_speed=first_step_rate * block.length / most,
    )
