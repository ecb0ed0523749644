"""What the board does with one command, as a chain of waits that ends with its answer.

Every function here that returns an iterator is a generator: it yields what it waits for, and the device's event loop
continues with it when that has come, the board's `now_s` being that instant.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from firmware_host.simulator.axis.single_precision import single
from firmware_host.simulator.board_core import Wait
from firmware_host.simulator.numbered_line.board import NumberedBoard
from firmware_host.simulator.numbered_line.homing import home
from firmware_host.simulator.numbered_line.numbering import NumberedCommand
from firmware_host.simulator.numbered_line.reports import from_the_wire
from firmware_host.simulator.numbered_line.speech import Speech
from firmware_host.simulator.numbered_line.words import Command, RefusedCommandError, read_command

UNITS_PER_INCH = 25.4
TAKEN_WITHOUT_EFFECT = frozenset(("G17", "G94", "M82", "M83", "M106", "M107", "M110", "M155", "M205", "M220", "M410"))
"""Known words that change nothing here; M110 and M410 have acted before their turn or act in `_stop`."""
SYNCHRONISING = frozenset(("G4", "M17", "M18", "M84", "M400"))
"""Words whose answer some variants give as soon as they are queued."""


class Task:
    """Carries one line out and answers it. `answered` from the moment its `ok` is on the wire, `syncing` while a word
    waits for the motors to stand.
    """

    def __init__(self, board: NumberedBoard, line: NumberedCommand, speech: Speech) -> None:
        self.board = board
        self.line = line
        self.speech = speech
        self.answered = False
        self.syncing = False
        self._output: list[str] = []

    def run(self) -> Iterator[Wait]:
        """The chain of waits."""
        board, variant = self.board, self.board.variant
        command = read_command(self.line.text, bad_as_zero=variant.bad_numbers == "zero")
        if variant.answers_first or (command.code in SYNCHRONISING and variant.sync_answered == "when-queued"):
            yield board.now_s + variant.ok_delay_s
            self._answer()
        self.syncing = command.code in SYNCHRONISING
        try:
            yield from self._carry_out(command)
        except RefusedCommandError as refusal:
            for text in self.speech.refused(refusal.reason):
                self.print(text)
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
        for text in (*self.speech.echo(self.line), self.speech.accepted(self.line)):
            self.board.say(text)
        self.answered = True
        for text in self._output:
            self.board.say(text)

    def _position_takes_s(self) -> float:
        """From the question for the position until it is told; the ok takes its own time behind that."""
        variant = self.board.variant
        return 0.0 if variant.position_delay_s is None else max(0.0, variant.position_delay_s - variant.ok_delay_s)

    def _carry_out(self, command: Command) -> Iterator[Wait]:
        board, code = self.board, command.code
        handler = HANDLERS.get(code)
        if code in board.variant.unknown_words:
            self.print(self.speech.unknown(self.line, command))
        elif handler is not None:
            yield from handler(self, command)
            self._done(command)
        elif code and board.settings.letters(code):
            yield from _change_setting(self, command)
        elif (report := self.speech.report(command)) is not None:
            yield from self._report(code, tuple(report))
        elif code not in TAKEN_WITHOUT_EFFECT:
            self.print(self.speech.unknown(self.line, command))
        else:
            self._done(command)

    def _done(self, command: Command) -> None:
        if not self.board.input_dropped:
            for text in self.speech.done(command):
                self.print(text)

    def _report(self, code: str, texts: tuple[str, ...]) -> Iterator[Wait]:
        if code == "M114":
            yield self.board.now_s + self._position_takes_s()
        for index, text in enumerate(texts):
            if index and self.board.variant.print_line_s:
                yield self.board.now_s + self.board.variant.print_line_s
            self.print(text)


# --- motion --------------------------------------------------------------------------------------------------


def _axis_words(board: NumberedBoard, command: Command) -> dict[int, float]:
    """Axis words in units by axis index. Inches turn degrees too: the board takes every axis for a length."""
    axes = enumerate(board.variant.axes)
    return {index: single(command.number(axis) * board.unit) for index, axis in axes if command.has(axis)}


def _move(task: Task, command: Command) -> Iterator[Wait]:
    board = task.board
    feed = command.get("F", 0.0) * board.unit
    board.feed = feed if feed > 0 else board.feed
    words = _axis_words(board, command)
    if words:
        yield lambda: len(board.kernel) < board.variant.planner_blocks
        if not board.queue_move(board.target(words), board.feed):
            for text in task.speech.out_of_bounds():
                task.print(text)


def _standstill(board: NumberedBoard) -> Iterator[Wait]:
    """Wait until everything queued has been done and the board has noticed."""
    if len(board.kernel):
        yield lambda: not len(board.kernel)
        yield board.sync_late.after(board.kernel.last_end_s)


def _synchronise(task: Task, command: Command) -> Iterator[Wait]:
    yield from _standstill(task.board)


def _dwell(task: Task, command: Command) -> Iterator[Wait]:
    board = task.board
    duration_s = command.get("S", command.get("P", 0.0) / 1000)
    yield from _standstill(board)
    yield board.now_s + max(0.0, duration_s)


def _home(task: Task, command: Command) -> Iterator[Wait]:
    board = task.board
    yield from _standstill(board)
    named = [axis for axis in board.variant.axes if command.has(axis)] or board.variant.axes
    yield from home(board, [axis for axis in named if axis in board.variant.home_switches])


def _offset(task: Task, command: Command) -> Iterator[Wait]:
    board = task.board
    yield from _standstill(board)
    words = _axis_words(board, command) or dict.fromkeys(range(len(board.variant.axes)), 0.0)
    for index, value in words.items():
        board.set_offset(index, value)


def _stop(task: Task, command: Command) -> Iterator[Wait]:
    """Cut the motion when its turn comes; a board that acts at once has done so before."""
    board = task.board
    if not board.variant.acts_at_once:
        board.cut_motion()
    yield board.now_s + board.variant.stop_takes_s


def _halt(task: Task, command: Command) -> Iterator[Wait]:
    board = task.board
    for text in task.speech.done(command):
        task.print(text)
    board.halt()
    yield board.now_s


# --- modes ---------------------------------------------------------------------------------------------------


def _modes(task: Task, command: Command) -> Iterator[Wait]:
    board = task.board
    if command.code in ("G90", "G91"):
        board.absolute = command.code == "G90"
    else:
        board.unit = UNITS_PER_INCH if command.code == "G20" else 1.0
    yield board.now_s


def _energise(task: Task, command: Command) -> Iterator[Wait]:
    board = task.board
    yield from _standstill(board)
    board.note_standstill(board.now_s)


def _release(task: Task, command: Command) -> Iterator[Wait]:
    """Release the motors once they stand, or with S set the time-out (s; 0 = never)."""
    board = task.board
    if command.has("S"):
        timeout_s = command.number("S")
        board.set_timeout(timeout_s if timeout_s > 0 else None)
        return
    yield from _standstill(board)
    board.released_after_s = board.now_s


def _output(task: Task, command: Command) -> Iterator[Wait]:
    """Set an output at once, whatever is still moving (from memory)."""
    board = task.board
    if not (command.has("P") and command.has("S")):
        raise RefusedCommandError("M42 needs P and S")
    if int(command.number("P")) in board.variant.refused_pins:
        raise RefusedCommandError("Pin can not be set by M42, is in sensitive pins!")
    board.outputs.append((board.now_s, int(command.number("P")), int(command.number("S"))))
    yield board.now_s


# --- settings ------------------------------------------------------------------------------------------------


def _change_setting(task: Task, command: Command) -> Iterator[Wait]:
    board, code = task.board, command.code
    if code == "M204" and board.variant.m204 == "heater":
        board.heater_writes.append((board.now_s, dict(command.texts)))
        return
    named = [letter for letter in board.settings.letters(code) if command.has(letter)]
    if code == "M204" and command.has("S"):
        _set(board, code, {"P": command.number("S"), "T": command.number("S")})
    elif named:
        yield from _standstill(board)
        _set(board, code, {letter: command.number(letter) for letter in named})
    elif not command.texts:
        for text in task.speech.setting(code):
            task.print(text)


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


def _load(task: Task, command: Command) -> Iterator[Wait]:
    """Take the settings stored (M501) or delivered (M502)."""
    board = task.board
    yield from _standstill(board)
    if command.code == "M501":
        board.load_settings()
    else:
        board.load_settings(delivered=True)
    for index in range(len(board.variant.axes)):
        board.set_scale(index, board.steps_per_unit(index))


def _store(task: Task, command: Command) -> Iterator[Wait]:
    task.board.settings.store()
    yield task.board.now_s + task.board.variant.eeprom_write_s


def _bounds(task: Task, command: Command) -> Iterator[Wait]:
    """Switch the axis' bounds on or off with S, or tell them."""
    if command.has("S"):
        task.board.bounds_on = command.number("S") != 0
    for text in task.speech.report(command) or ():
        task.print(text)
    yield task.board.now_s


HANDLERS: Mapping[str, Callable[[Task, Command], Iterator[Wait]]] = {
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
    "M211": _bounds,
    "M400": _synchronise,
    "M410": _stop,
    "M500": _store,
}
