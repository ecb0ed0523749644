"""Search for the switches: quickly towards each, back off, slowly again; the machine coordinate is 0 there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from firmware_host.simulator.board_core import Wait
from firmware_host.simulator.numbered_line.board import NumberedBoard

BACK_OFF_UNITS = 2.0
SLOWER = 4.0
"""How far the axis backs off (units) and how much slower it comes again (this board's own)."""


def home(board: NumberedBoard, axes: Sequence[str]) -> Iterator[Wait]:
    """Home these axes in turn, each of which has a switch; halt if one isn't found. Their offsets become 0."""
    yield from _lift(board, axes)
    for axis in axes:
        index = board.variant.axes.index(axis)
        yield from _seek(board, index)
        if board.halted or board.input_dropped:
            return
        board.offset[index] = 0.0
        board.place(index, 0.0)
        board.synchronise()
        board.homed.add(axis)


def _lift(board: NumberedBoard, axes: Sequence[str]) -> Iterator[Wait]:
    """Raise Z out of the way of the others."""
    lift = board.variant.motion.homing_lift
    if not lift or "Z" in axes or "Z" not in board.variant.axes:
        return
    index = board.variant.axes.index("Z")
    if board.position[index] < lift:
        target = list(board.position)
        target[index] = lift
        board.queue_move(target, board.settings["M203 Z"] * 60)
        yield lambda: not len(board.kernel)


def _seek(board: NumberedBoard, index: int) -> Iterator[Wait]:
    variant, axis = board.variant, board.variant.axes[index]
    steps_per_unit = board.steps_per_unit(index)
    sign = -1 if axis in variant.reversed_axes else 1
    distance = sign * (variant.home_switches[axis] - board.kernel.shafts_at(board.now_s)[index])
    farthest = -round(variant.travel * steps_per_unit)
    found = farthest <= distance <= 0
    back_off = round(BACK_OFF_UNITS * steps_per_unit)
    slow = variant.homing_rate / SLOWER
    stretches = [(distance, variant.homing_rate), (back_off, slow), (-back_off, slow)]
    for steps, rate in stretches if found else [(farthest, variant.homing_rate)]:
        goal = list(board.queued)
        goal[index] += steps
        board.queue_steps(goal, rate, "home")
        yield lambda: not len(board.kernel)
    if not found:
        board.say("Error:homing failed")
        board.halt()
