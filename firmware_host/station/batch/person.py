"""A person at the batch: told what stands where, in short lines; answers with a word, a diameter, or Enter alone."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import datetime
from typing import TypeVar

from firmware_host.clock import Clock
from firmware_host.errors import FirmwareHostError, GateError, InputError
from firmware_host.station.batch.events import PartZero
from firmware_host.station.batch.side import (
    Again,
    BatchSide,
    Good,
    LeaveOut,
    NextPart,
    PickUp,
    Ready,
    Scrap,
    Stop,
    Unasked,
    Wait,
)
from firmware_host.station.gates.gate import PartContext
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.operator import Choice, Operator, Question
from firmware_host.station.passes.choice import segments_of

_LOOK_S = 0.05
_STOP = frozenset({"s", "stop", "q", "quit"})
_REDO = re.compile(r"(?:r|redo) *(?P<segments>[0-9][0-9,\- ]{0,80}?)(?: +x(?P<passes>[0-9]{1,4}))?")
_SKIP = frozenset({"x", "skip"})
_SCRAP = frozenset({"scrap", "scrapped"})
_GOOD = frozenset({"", "g", "good", "y", "yes"})
_CAUTION = (
    "CAUTION: rollers and chucks pinch and entangle; a part that hangs over needs",
    "its support. This program is no safety device: the emergency stop is.",
)

AnswerT = TypeVar("AnswerT")


class _NotUnderstoodError(Exception):
    """What was typed is no answer."""


class PersonSide(BatchSide):
    """Waits for a key before each part, and asks what became of it behind it."""

    def __init__(self, operator: Operator) -> None:
        self._operator = operator
        self._cautioned = False

    def change(self, part: NextPart, wait: Wait) -> Ready | LeaveOut | Stop:
        self._tell_part(part)
        self._tell(
            "Put it in, hands out, then Enter: the axis turns at once.",
            "Or its diameter if you measured it (50.12 mm); x leaves it out; s stops.",
        )
        self._operator.asks(_change(part, "Put it in, hands out: the axis turns at once."))
        return self._asked(_of_change, "Enter, a diameter such as 50.12 mm, x or s.", wait)

    def refused(self, part: NextPart, error: FirmwareHostError, wait: Wait) -> Ready | LeaveOut | Stop:
        self._ask(
            f"{_capital(part.part)} can't be run: {error}",
            "Nothing has moved. Type another diameter (50.12 mm); x leaves it out; s stops.",
        )
        text = f"{_capital(part.part)} can't be run: {error}. Nothing has moved."
        self._operator.asks(Question(text, (_LEFT_OUT,), "another diameter (50.12 mm)"))
        return self._asked(_of_refused, "a diameter such as 50.12 mm, x or s.", wait)

    def judge(self, part: PartContext, record: RunRecord, wait: Wait) -> Good | Scrap | Again | Stop:
        segments = max((entry.segment for entry in record.passes), default=0)
        self._ask(
            f"{_capital(part)}: {record.done} of {len(record.passes)} passes {record.passes_word}. STILL, gate closed.",
            "Enter: good; r 2 or r 2-3 marks segments again; scrap; s stops.",
        )
        again = "r and segments to mark them again (r 2-3)"
        self._operator.asks(Question(f"What became of {part}?", (Choice("", "It is good"), _SCRAPPED), again))
        return self._asked(
            lambda text: _of_judge(text, segments), "Enter, r and segments, r 2 x1 for one pass, scrap or s.", wait
        )

    def interrupted(self, part: PartContext, record: RunRecord, wait: Wait) -> PickUp | Scrap | Stop:
        self._ask(
            f"{_capital(part)} was interrupted: {record.done} of {len(record.passes)} passes {record.passes_word}.",
            "Is it still clamped as it was? Enter resumes it; scrap leaves it; s stops.",
        )
        text = f"{_capital(part)} was interrupted. Is it still clamped as it was?"
        self._operator.asks(Question(text, (Choice("", "Yes: resume it"), _SCRAPPED)))
        return self._asked(_of_interrupted, "Enter, scrap or s.", wait)

    # --- telling ---------------------------------------------------------------------------------------------------

    def _tell_part(self, part: NextPart) -> None:
        """Which part it is, how the axis stands, and where its zero will be."""
        self._operator.forget()
        if not self._cautioned:
            self._tell(*_CAUTION)
            self._cautioned = True
        text = f", text {' '.join(part.part.text.split())}" if part.part.text else ""
        diameter = f", diameter {part.diameter}" if part.diameter else ""
        self._tell(
            f"{_capital(part.part)}{text}{diameter}.",
            f"STILL, gate closed: change the part. {_zero(part)}",
            *([f"Done at about {_time_of_day(part.done_at)}."] if part.done_at is not None else []),
        )

    def _ask(self, *lines: str) -> None:
        """Tell a question; a key from before it is no answer to it."""
        self._operator.forget()
        self._tell(*lines)

    def _tell(self, *lines: str) -> None:
        for line in lines:
            self._operator.tell(line)

    def _asked(self, understood: Callable[[str], AnswerT], hint: str, wait: Wait) -> AnswerT:
        """What the person answers. Raises `GateError` when nobody can answer any more."""
        try:
            while True:
                line = self._operator.answer()
                if line is None:
                    wait(_LOOK_S)
                    continue
                try:
                    return understood(line.strip().lower())
                except _NotUnderstoodError:
                    self._tell(f"Not understood: {hint}")
        finally:
            self._operator.asks(None)


class PausedSide(Unasked, PersonSide):
    """Each part follows by itself after `pause_s` (s), and is good; whoever is there may still stop or answer."""

    def __init__(self, operator: Operator, clock: Clock, pause_s: float) -> None:
        super().__init__(operator)
        self._clock, self._pause_s = clock, pause_s

    def change(self, part: NextPart, wait: Wait) -> Ready | LeaveOut | Stop:
        self._tell_part(part)
        self._tell(
            f"The axis turns BY ITSELF in {self._pause_s:g} s: hands out by then.",
            "Enter: now; a diameter (50.12 mm): now, with it; x leaves it out; s stops.",
        )
        end_s = self._clock.monotonic() + self._pause_s
        self._operator.asks(_change(part, f"The axis turns BY ITSELF after {self._pause_s:g} s: hands out by then."))
        try:
            while self._clock.monotonic() < end_s:
                line = self._line()
                if line is not None:
                    with suppress(_NotUnderstoodError):
                        return _of_change(line.strip().lower())
                wait(_LOOK_S)
            return Ready()
        finally:
            self._operator.asks(None)

    def _line(self) -> str | None:
        """What was typed; None also where nobody can type."""
        try:
            return self._operator.answer()
        except GateError:
            return None


# --- what is asked, for whoever shows it with buttons ----------------------------------------------------------------

_LEFT_OUT = Choice("x", "Leave it out")
_SCRAPPED = Choice("scrap", "It is scrap")


def _change(part: NextPart, then: str) -> Question:
    text = f"{_capital(part.part)}. {_zero(part)} {then}"
    choices = (Choice("", "It is in: turn"), _LEFT_OUT)
    return Question(text, choices, "its diameter if you measured it (50.12 mm)")


# --- what an answer means ------------------------------------------------------------------------------------------


def _of_change(text: str) -> Ready | LeaveOut | Stop:
    return Ready() if not text else _of_refused(text)


def _of_refused(text: str) -> Ready | LeaveOut | Stop:
    if text in _STOP:
        return Stop()
    if text in _SKIP:
        return LeaveOut("by the operator")
    if text[:1].isdigit() or text[:1] == ".":
        return Ready(text)
    raise _NotUnderstoodError


def _of_judge(text: str, segments: int) -> Good | Scrap | Again | Stop:
    if text in _STOP:
        return Stop()
    if text in _SCRAP:
        return Scrap()
    return Good() if text in _GOOD else _again(text, segments)


def _again(text: str, segments: int) -> Again:
    """Of "r 2-3" or "r 2 x1": which segments are marked again, and how many passes of each."""
    found = _REDO.fullmatch(text)
    if found is None:
        raise _NotUnderstoodError
    try:
        chosen = segments_of(found["segments"])
    except InputError as error:
        raise _NotUnderstoodError from error
    passes = int(found["passes"]) if found["passes"] else None
    if chosen[0] < 1 or chosen[-1] > segments or passes == 0:
        raise _NotUnderstoodError
    return Again(chosen, passes)


def _of_interrupted(text: str) -> PickUp | Scrap | Stop:
    if text in _STOP:
        return Stop()
    if text in _SCRAP:
        return Scrap()
    if text in _GOOD:
        return PickUp()
    raise _NotUnderstoodError


# --- words ---------------------------------------------------------------------------------------------------------

_ZEROS: Mapping[PartZero, str] = {
    PartZero.KEPT: "The motor holds: the zero stays.",
    PartZero.HOME: "The axis will seek its home switch.",
    PartZero.FIRST: "Its zero is where it stands.",
    PartZero.BY_HAND: "Turn it to its zero by hand",
}


def _zero(part: NextPart) -> str:
    """Where the zero of a part will be, and what to do for it."""
    because = f": {part.because}." if part.because else ""
    released = "The motor is RELEASED: support the part. " if part.released else ""
    return f"{released}{_ZEROS[part.zero]}{because}"


def _capital(part: PartContext) -> str:
    text = str(part)
    return text[:1].upper() + text[1:]


def _time_of_day(at: datetime) -> str:
    return f"{at.astimezone():%H:%M}"
