"""What the board prints about itself: the status, the modes, the offsets, its build."""

from __future__ import annotations

from collections.abc import Sequence

from firmware_host.simulator.axis.single_precision import printed
from firmware_host.simulator.status_query.board import Board
from firmware_host.simulator.status_query.program import UNITS_PER_INCH
from firmware_host.simulator.status_query.turns import Counted, Extras, turns_of

MACHINE_BIT = 1
BUFFER_BIT = 2
SPEED_BIT = 8
OFFSETS_BIT = 32
OTHERS_BIT = 64


class StatusReports:
    """Writes the answers to `?`, with the offsets and other extras now and then."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self._turns = turns_of(board)

    def line(self, free_bytes: int) -> str:
        """One status report; `free_bytes` is the room left in the receive buffer."""
        board = self._board
        fields = self._always(free_bytes)
        if self._asked(OFFSETS_BIT | OTHERS_BIT):
            extras = self._turns.next(board)
            fields += self._extras(extras)
        return "<" + "|".join(fields) + ">"

    def whole(self, free_bytes: int) -> str:
        """A report with every field that the board has."""
        system = self._board.program.modes.system // 10
        fields = self._always(free_bytes)
        fields += self._extras(Extras(offsets=True))
        fields += [f"WCS:G{system}", *self._extras(Extras(overrides=True, outputs=True))]
        fields += ["Sc:", "MPG:0", "H:0", "T:0", "P:0", "TLR:0", "FW:simulated"]
        if isinstance(self._turns, Counted):
            self._turns.all_shown()
        return "<" + "|".join(fields) + ">"

    def _asked(self, bit: int) -> bool:
        """Whether `$10` asks for a field that some boards always give."""
        board = self._board
        return not board.variant.ways.optional_speed or bool(int(board.settings["$10"]) & bit)

    def _always(self, free_bytes: int) -> list[str]:
        board = self._board
        mask = int(board.settings["$10"])
        planned = board.variant.position_report == "planned"
        position = board.program.position if planned else board.machine_position()
        if mask & MACHINE_BIT:
            fields = [board.shown_state(), "MPos:" + coordinates(board, position)]
        else:
            work = [a - b for a, b in zip(position, board.program.offsets(), strict=True)]
            fields = [board.shown_state(), "WPos:" + coordinates(board, work)]
        if mask & BUFFER_BIT:
            bytes_shown = free_bytes - board.variant.ways.usable_bytes_shown
            fields.append(f"Bf:{board.variant.planner_blocks - len(board.kernel)},{bytes_shown}")
        if self._asked(SPEED_BIT):
            inches = bool(board.settings["$13"])
            feed = board.shown_speed() * 60 / (UNITS_PER_INCH if inches else 1.0)
            fields.append(f"FS:{feed:.{1 if inches else 0}f},{board.spindle_speed():.0f}")
        return fields

    def _extras(self, extras: Extras) -> list[str]:
        board = self._board
        fields = ["WCO:" + coordinates(board, board.program.offsets())] if extras.offsets else []
        if extras.overrides:
            fields.append("Ov:100,100,100")
        if extras.outputs:
            fields.append(f"A:{board.program.modes.output_letters()}")
        if extras.first and board.variant.ways.full_report:
            fields.append("TLR:0")
        return fields


def coordinates(board: Board, values: Sequence[float]) -> str:
    """Comma-separated coordinates with three decimals, or four in inches; a rotary axis may keep its degrees."""
    text = printed if board.variant.ways.prints_in_single else _exact
    if not board.settings["$13"]:
        return ",".join(text(value, 3) for value in values)
    metric = [board.stays_metric(index) for index in range(len(values))]
    pairs = zip(values, metric, strict=True)
    return ",".join(text(value, 3) if stays else text(value / UNITS_PER_INCH, 4) for value, stays in pairs)


def _exact(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}"


def modes_lines(board: Board) -> list[str]:
    """The words in force, as `$G` prints them: one line."""
    modes, speech = board.program.modes, board.variant.speech
    numbers = (modes.motion, modes.system, modes.plane, modes.units, modes.distance, modes.feed_mode)
    words = [f"G{number // 10}" for number in numbers] + speech.more_modes.split()
    words += [f"M{modes.spindle}", *[f"M{number}" for number in modes.coolant or (9,)], "T0"]
    return [f"[GC:{' '.join(words)} F{modes.feed:.0f} S{modes.speed:.0f}{speech.speed_point}]"]


def offset_lines(board: Board) -> list[str]:
    """The stored and the volatile offsets, as `$#` prints them."""
    program, speech = board.program, board.variant.speech
    zero = [0.0] * len(board.variant.axes)
    named = [(f"G{54 + index}", system) for index, system in enumerate(program.systems)]
    named += [(name, zero) for name in speech.more_systems]
    named += [("G28", program.homes[280]), ("G30", program.homes[300]), ("G92", program.shift)]
    lines = [f"[{name}:{coordinates(board, values)}]" for name, values in named]
    if speech.tool_and_probe:
        lines += [
            f"[TLO:{coordinates(board, zero if speech.tool_axes else [0.0])}]",
            f"[PRB:{coordinates(board, zero)}:0]",
        ]
    return lines


def build_lines(board: Board) -> list[str]:
    """What `$I` prints: a version, then option letters, planner blocks and receive bytes, and what else it tells."""
    variant = board.variant
    facts = {"axes": variant.axes, "count": len(variant.axes)}
    facts.update({"blocks": variant.planner_blocks, "bytes": variant.receive_buffer})
    return [line.format(**facts) for line in variant.speech.build]


def start_lines(board: Board) -> list[str]:
    """What `$N` prints; a first line that cannot be read is told by an error, and is empty from then on."""
    unread = board.variant.speech.start_lines == "first unreadable" and not board.start_lines_read
    board.start_lines_read = True
    return ["error:7" if unread else "$N0=", "$N1="]
