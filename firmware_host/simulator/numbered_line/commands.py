"""What the board does with one command, as a chain of waits that ends with its answer.

Every function here that returns an iterator is a generator: it yields what it waits for, and the device's event loop
continues with it when that has come, the board's `now_s` being that instant.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping

from firmware_host.simulator.axis.single_precision import single
from firmware_host.simulator.board_core import Wait
from firmware_host.simulator.numbered_line.board import NumberedBoard
from firmware_host.simulator.numbered_line.homing import home
from firmware_host.simulator.numbered_line.numbering import NumberedCommand
from firmware_host.simulator.numbered_line.reports import (
    capability_lines,
    from_the_wire,
    listing_lines,
    position_line,
    setting_line,
    settings_lines,
)
from firmware_host.simulator.numbered_line.words import Command, RefusedCommandError, printable, read_command

UNITS_PER_INCH = 25.4
TAKEN_WITHOUT_EFFECT = frozenset(("G17", "G94", "M82", "M83", "M107", "M110", "M155", "M211", "M220", "M410"))
"""Known words that change nothing here; M110 and M410 have acted before their turn or act in `_stop`."""
SYNCHRONISING = frozenset(("G4", "M17", "M18", "M84", "M400"))
"""Words whose answer some variants give as soon as they are queued."""


class Task:
    """Carries one line out and answers it. `answered` from the moment its `ok` is on the wire."""

    def __init__(self, board: NumberedBoard, line: NumberedCommand) -> None:
        self.board = board
        self.line = line
        self.answered = False
        self._output: list[str] = []

    def run(self) -> Iterator[Wait]:
        """The chain of waits."""
        board, variant = self.board, self.board.variant
        command = read_command(self.line.text, bad_as_zero=variant.bad_numbers == "zero")
        if command.code in SYNCHRONISING and variant.sync_answered == "when-queued":
            yield board.now_s + variant.ok_delay_s
            self._answer()
        try:
            yield from self._carry_out(command)
        except RefusedCommandError as refusal:
            self.print(f"Error:{refusal.reason}")
        if not self.answered:
            yield board.now_s + variant.ok_delay_s
            self._answer()

    def print(self, text: str) -> None:
        """Say something before the `ok`, or after it if the variant does so."""
        if self.board.variant.ok_before_output and not self.answered:
            self._output.append(text)
        else:
            self.board.say(text)

    def _answer(self) -> None:
        board, fields = self.board, []
        for name in board.variant.ok_fields:
            if name == "N" and self.line.number is not None:
                fields.append(f" N{self.line.number}")
            elif name == "P":
                fields.append(f" P{board.variant.planner_blocks - len(board.kernel)}")
            elif name == "B":
                fields.append(f" B{board.variant.command_lines - len(board.lines)}")
        board.say("ok" + "".join(fields))
        self.answered = True
        for text in self._output:
            board.say(text)

    def _position_takes_s(self) -> float:
        """From the question for the position until it is told; the ok takes its own time behind that."""
        variant = self.board.variant
        return 0.0 if variant.position_delay_s is None else max(0.0, variant.position_delay_s - variant.ok_delay_s)

    def _carry_out(self, command: Command) -> Iterator[Wait]:
        handler = HANDLERS.get(command.code)
        report = REPORTS.get(command.code)
        listed = self.board.variant.settings_report
        if handler is not None:
            yield from handler(self.board, command)
        elif command.code == "M503" and listed == "none":
            self.print('echo:Unknown command: "M503"')
        elif command.code in SETTINGS:
            yield from _change_setting(self.board, command, self.print)
        elif report is not None:
            texts = tuple(report(self.board))
            if command.code == "M114":
                yield self.board.now_s + self._position_takes_s()
            for text in texts:
                self.print(text)
        elif command.code == "M500":
            self.board.settings.store()
            yield self.board.now_s + self.board.variant.eeprom_write_s
            self.print("echo:Settings Stored")
        elif command.code not in TAKEN_WITHOUT_EFFECT:
            self.print(f'echo:Unknown command: "{printable(self.line.text)}"')


# --- motion --------------------------------------------------------------------------------------------------


def _axis_words(board: NumberedBoard, command: Command) -> dict[int, float]:
    """Axis words in units by axis index. Inches turn degrees too: the board takes every axis for a length."""
    axes = enumerate(board.variant.axes)
    return {index: single(command.number(axis) * board.unit) for index, axis in axes if command.has(axis)}


def _move(board: NumberedBoard, command: Command) -> Iterator[Wait]:
    feed = command.get("F", 0.0) * board.unit
    board.feed = feed if feed > 0 else board.feed
    words = _axis_words(board, command)
    if words:
        yield lambda: len(board.kernel) < board.variant.planner_blocks
        board.queue_move(board.target(words), board.feed)


def _standstill(board: NumberedBoard) -> Iterator[Wait]:
    """Wait until everything queued has been done and the board has noticed."""
    if len(board.kernel):
        yield lambda: not len(board.kernel)
        yield board.sync_late.after(board.kernel.last_end_s)


def _synchronise(board: NumberedBoard, command: Command) -> Iterator[Wait]:
    yield from _standstill(board)


def _dwell(board: NumberedBoard, command: Command) -> Iterator[Wait]:
    duration_s = command.get("S", command.get("P", 0.0) / 1000)
    yield from _standstill(board)
    yield board.now_s + max(0.0, duration_s)


def _home(board: NumberedBoard, command: Command) -> Iterator[Wait]:
    yield from _standstill(board)
    named = [axis for axis in board.variant.axes if command.has(axis)] or board.variant.axes
    yield from home(board, [axis for axis in named if axis in board.variant.home_switches])


def _offset(board: NumberedBoard, command: Command) -> Iterator[Wait]:
    yield from _standstill(board)
    words = _axis_words(board, command) or dict.fromkeys(range(len(board.variant.axes)), 0.0)
    for index, value in words.items():
        board.set_offset(index, value)


def _stop(board: NumberedBoard, command: Command) -> Iterator[Wait]:
    """Cut the motion when its turn comes; a board that acts at once has done so before."""
    if not board.variant.acts_at_once:
        board.cut_motion()
    yield board.now_s


def _halt(board: NumberedBoard, command: Command) -> Iterator[Wait]:
    board.halt()
    yield board.now_s


# --- modes ---------------------------------------------------------------------------------------------------


def _modes(board: NumberedBoard, command: Command) -> Iterator[Wait]:
    if command.code in ("G90", "G91"):
        board.absolute = command.code == "G90"
    else:
        board.unit = UNITS_PER_INCH if command.code == "G20" else 1.0
    yield board.now_s


def _energise(board: NumberedBoard, command: Command) -> Iterator[Wait]:
    yield from _standstill(board)
    board.note_standstill(board.now_s)


def _release(board: NumberedBoard, command: Command) -> Iterator[Wait]:
    """Release the motors once they stand, or with S set the time-out (s; 0 = never)."""
    if command.has("S"):
        timeout_s = command.number("S")
        board.set_timeout(timeout_s if timeout_s > 0 else None)
        return
    yield from _standstill(board)
    board.released_after_s = board.now_s


def _output(board: NumberedBoard, command: Command) -> Iterator[Wait]:
    """Set an output at once, whatever is still moving (from memory)."""
    if not (command.has("P") and command.has("S")):
        raise RefusedCommandError("M42 needs P and S")
    board.outputs.append((board.now_s, int(command.number("P")), int(command.number("S"))))
    yield board.now_s


# --- settings ------------------------------------------------------------------------------------------------


def _change_setting(board: NumberedBoard, command: Command, say: Callable[[str], None]) -> Iterator[Wait]:
    code, variant = command.code, board.variant
    if code == "M204" and variant.m204 == "heater":
        board.heater_writes.append((board.now_s, dict(command.texts)))
        return
    named = [axis for axis in ("PRT" if code == "M204" else variant.axes) if command.has(axis)]
    if code == "M204" and command.has("S"):
        _set(board, code, {"P": command.number("S"), "T": command.number("S")})
    elif named:
        yield from _standstill(board)
        _set(board, code, {axis: command.number(axis) for axis in named})
    elif variant.settings_report == "M503 echo":
        say(setting_line(board, code))


def _set(board: NumberedBoard, code: str, values: Mapping[str, float]) -> None:
    for letter, value in values.items():
        fixed = board.variant.fixed_settings.get(f"{code} {letter}")
        if fixed == "refused":
            raise RefusedCommandError(f"{code} {letter} cannot be changed")
        if fixed == "ignored":
            continue
        stored = from_the_wire(board, code, value)
        if code == "M201" and board.variant.whole_accelerations:
            stored = float(int(stored))
        try:
            if code == "M92":
                board.set_scale(board.variant.axes.index(letter), stored)
            else:
                board.settings[f"{code} {letter}"] = stored
        except ValueError as error:
            raise RefusedCommandError(f"{code} {letter} out of range") from error


def _load(board: NumberedBoard, command: Command) -> Iterator[Wait]:
    """Take the settings stored (M501) or delivered (M502)."""
    yield from _standstill(board)
    if command.code == "M501":
        board.settings.load()
    else:
        board.settings.deliver()
    for index in range(len(board.variant.axes)):
        board.set_scale(index, board.steps_per_unit(index))


def _settings_report(board: NumberedBoard) -> Iterable[str]:
    return settings_lines(board) if board.variant.settings_report == "M503 echo" else ()


def _settings_listing(board: NumberedBoard) -> Iterable[str]:
    return listing_lines(board) if board.variant.settings_report == "EPR after M205" else ()


SETTINGS = frozenset(("M92", "M201", "M203", "M204"))
REPORTS: Mapping[str, Callable[[NumberedBoard], Iterable[str]]] = {
    "M114": lambda board: [position_line(board)],
    "M115": capability_lines,
    "M205": _settings_listing,
    "M503": _settings_report,
}
HANDLERS: Mapping[str, Callable[[NumberedBoard, Command], Iterator[Wait]]] = {
    **dict.fromkeys(("G0", "G1"), _move),
    **dict.fromkeys(("G20", "G21", "G90", "G91"), _modes),
    **dict.fromkeys(("M18", "M84"), _release),
    **dict.fromkeys(("M501", "M502"), _load),
    "G4": _dwell,
    "G28": _home,
    "G92": _offset,
    "M17": _energise,
    "M42": _output,
    "M112": _halt,
    "M400": _synchronise,
    "M410": _stop,
}
