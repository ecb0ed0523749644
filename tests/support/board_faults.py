"""What happens to a simulated board from outside, and what only its own memory knows."""

from __future__ import annotations

from firmware_host.simulator.event_device import EventDevice
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.status_query.device import StatusQueryDevice


def slip(device: EventDevice, axis: str, steps: int, now_s: float) -> None:
    """Let the shaft be turned by `steps` without a pulse: a stall, or a hand. The board doesn't know."""
    device._advance(now_s)
    device._core.kernel._shaft[device._axes.index(axis)] += steps


def miscount(device: EventDevice, axis: str, steps: int, now_s: float) -> None:
    """Let the board's own counter be `steps` further on without any motion."""
    device._advance(now_s)
    device._core.kernel._counter[device._axes.index(axis)] += steps


def counter_at(device: EventDevice, axis: str, now_s: float) -> int:
    """The step counter as the board itself keeps it: 0 after a hardware reset, blind to lost steps."""
    device._advance(now_s)
    return device._core.kernel.counters_at(now_s)[device._axes.index(axis)]


def trip_limit_switch(device: StatusQueryDevice, now_s: float) -> None:
    """Close a limit switch: with hard limits on (`$21`) all stops at once, and the position is lost."""
    device._advance(now_s)
    if device.settings["$21"]:
        device._forget_input()
        device._board.cut_motion()
        device._board.synchronise()
        device._board.alarm(1)


def fail(device: NumberedLineDevice, now_s: float) -> None:
    """Let something happen that makes the board halt by itself (a heater out of control, say)."""
    device._advance(now_s)
    device._board.halt()
    device._forget_dropped()


def forget_motion(device: EventDevice) -> None:
    """Empty the record of motion, for a run so long that it would fill the memory.

    A travel under way is recorded from its last stretch on.
    """
    device._core.kernel.log.clear()
    device._core.kernel._last_of.clear()
