"""What the board prints about itself: the status, the modes, the offsets, its build."""

from __future__ import annotations

from collections.abc import Sequence

from firmware_host.simulator.status_query.board import Board
from firmware_host.simulator.status_query.program import UNITS_PER_INCH

MACHINE_BIT = 1
BUFFER_BIT = 2


class StatusReports:
    """Writes the answers to `?`, with the offsets and other extras now and then."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self._offsets_shown: list[float] | None = None
        self._since_offsets = 0

    def line(self, free_bytes: int) -> str:
        """One status report; `free_bytes` is the room left in the receive buffer."""
        board = self._board
        mask = int(board.settings["$10"])
        offsets = board.program.offsets()
        planned = board.variant.position_report == "planned"
        position = board.program.position if planned else board.machine_position()
        if mask & MACHINE_BIT:
            fields = [board.shown_state(), "MPos:" + coordinates(board, position)]
        else:
            work = [a - b for a, b in zip(position, offsets, strict=True)]
            fields = [board.shown_state(), "WPos:" + coordinates(board, work)]
        if mask & BUFFER_BIT:
            fields.append(f"Bf:{board.variant.planner_blocks - len(board.kernel)},{free_bytes}")
        speed = board.kernel.speed_at(board.now_s) * 60
        fields.append(f"FS:{_in_units(board, speed):.0f},{board.program.modes.speed:.0f}")
        fields += self._extras(offsets)
        return "<" + "|".join(fields) + ">"

    def _extras(self, offsets: list[float]) -> list[str]:
        """The offsets at first, whenever they changed and every so many reports; overrides and outputs right after."""
        self._since_offsets += 1
        if offsets != self._offsets_shown or self._since_offsets >= self._board.variant.offset_every:
            self._offsets_shown = offsets
            self._since_offsets = 0
            return ["WCO:" + coordinates(self._board, offsets)]
        if self._since_offsets == 1:
            modes = self._board.program.modes
            letters = {3: "S", 4: "C"}.get(modes.spindle, "") + {7: "M", 8: "F"}.get(modes.coolant, "")
            return ["Ov:100,100,100"] + ([f"A:{letters}"] if letters else [])
        return []


def coordinates(board: Board, values: Sequence[float]) -> str:
    """Comma-separated coordinates with three decimals, or four in inches."""
    decimals = 4 if board.settings["$13"] else 3
    return ",".join(f"{_in_units(board, value):.{decimals}f}" for value in values)


def _in_units(board: Board, value: float) -> float:
    return value / UNITS_PER_INCH if board.settings["$13"] else value


def modes_lines(board: Board) -> list[str]:
    """The words in force, as `$G` prints them: one line."""
    modes = board.program.modes
    numbers = (modes.motion, modes.system, modes.plane, modes.units, modes.distance, modes.feed_mode)
    words = [f"G{number // 10}" for number in numbers] + [f"M{modes.spindle}", f"M{modes.coolant}", "T0"]
    return [f"[GC:{' '.join(words)} F{modes.feed:.0f} S{modes.speed:.0f}]"]


def offset_lines(board: Board) -> list[str]:
    """The stored and the volatile offsets, as `$#` prints them."""
    program = board.program
    named = [(f"G{54 + index}", system) for index, system in enumerate(program.systems)]
    named += [("G28", program.homes[280]), ("G30", program.homes[300]), ("G92", program.shift)]
    return [f"[{name}:{coordinates(board, values)}]" for name, values in named]


def build_lines(board: Board) -> list[str]:
    """What `$I` prints: a version, then option letters, planner blocks and receive bytes."""
    variant = board.variant
    return ["[VER:simulated:]", f"[OPT:V,{variant.planner_blocks},{variant.receive_buffer}]"]
