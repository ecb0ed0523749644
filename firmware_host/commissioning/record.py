"""What was measured when: a journal of every reading and finding of one machine, and what can be resumed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Annotated, Literal, Self

from pydantic import Field, TypeAdapter

from firmware_host.clock import Clock
from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.script import Answer
from firmware_host.errors import JournalError
from firmware_host.station.journal.events import Event
from firmware_host.station.journal.form import JournalForm
from firmware_host.station.journal.journal import Journal, events_of

SCHEMA = 1
_Text = Annotated[str, Field(max_length=1000)]


class CommissionBegin(Event):
    """The record of a machine begins."""

    kind: Literal["begin"] = Field("begin", alias="event")
    schema_version: Literal[1] = Field(1, alias="schema")
    machine: _Text


class Started(Event):
    """A procedure begins from its first step, `turns` and `repeats` as wished, read to `within_length` m and so on."""

    kind: Literal["started"] = Field("started", alias="event")
    procedure: _Text
    turns: int
    repeats: int
    within_length: float
    within_angle: float


class Resumed(Event):
    """A procedure that was broken off is resumed: what is answered from here on belongs to it."""

    kind: Literal["resumed"] = Field("resumed", alias="event")
    procedure: _Text


class Answered(Event):
    """A reading, in SI (degC of a temperature), or the word that was chosen."""

    kind: Literal["answered"] = Field("answered", alias="event")
    question: _Text
    answer: float | _Text


class Found(Event):
    """What followed from the readings since the procedure began: value and standard uncertainty in `unit`."""

    kind: Literal["found"] = Field("found", alias="event")
    procedure: _Text
    quantity: _Text
    name: _Text
    value: float
    deviation: float
    freedom: float | None
    ends: tuple[float, float] | None = None
    unit: _Text
    formula: _Text
    verdict: Literal["as stated", "change", "told"]
    sentence: _Text
    key: _Text = ""
    to: str | int | float | bool | None = None
    file: Literal["machine", "job"] = "machine"
    also: tuple[tuple[_Text, str | int | float | bool], ...] = ()
    seen: _Text = ""
    planned: tuple[float, float] | None = None


class Ended(Event):
    """The procedure is done."""

    kind: Literal["ended"] = Field("ended", alias="event")
    procedure: _Text


class Withdrawn(Event):
    """The answer to `question` was taken back: it was misread, or mistyped."""

    kind: Literal["withdrawn"] = Field("withdrawn", alias="event")
    question: _Text


class Failed(Event):
    """Nothing follows from what was read, or the machine can't do it: what was read is not used any more."""

    kind: Literal["failed"] = Field("failed", alias="event")
    procedure: _Text
    why: _Text


class Written(Event):
    """A value went into the machine's file; `before`: what stood there; `backup`: the file as it was."""

    kind: Literal["written"] = Field("written", alias="event")
    file: _Text
    key: _Text
    before: _Text
    after: _Text
    backup: _Text


CommissionEvent = Annotated[
    CommissionBegin | Started | Resumed | Answered | Withdrawn | Found | Failed | Ended | Written,
    Field(discriminator="kind"),
]
EVENTS: TypeAdapter[CommissionEvent] = TypeAdapter(CommissionEvent)
FORM: JournalForm[CommissionEvent] = JournalForm("commissioning", EVENTS, SCHEMA, CommissionBegin)


@dataclass(frozen=True)
class Going:
    """A procedure that was begun and is not done yet: how, and what was answered so far."""

    started: Started
    answers: dict[str, Answer]


class Record:
    """The record of one machine while it is written; what is noted is on the disk when `note` returns."""

    def __init__(self, path: Path, machine: str, clock: Clock) -> None:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise JournalError(str(path), f"cannot be made ({error.strerror})") from error
        self._path = path
        self._journal = Journal(path, clock, FORM)
        if not self._journal.whole_lines:
            self.note(CommissionBegin(machine=machine))

    def note(self, event: CommissionEvent) -> None:
        """Append one event. Raises `JournalError`."""
        self._journal.write(event)

    def found(self, procedure: str, finding: Finding) -> None:
        """Note what was found."""
        measured, change = finding.measured, finding.change
        self.note(
            Found(
                procedure=procedure,
                quantity=finding.key,
                name=finding.name,
                value=measured.value,
                deviation=measured.deviation,
                freedom=None if measured.freedom == float("inf") else measured.freedom,
                ends=measured.ends,
                unit=finding.unit,
                formula=finding.formula,
                verdict=finding.verdict,
                sentence=finding.sentence,
                key=change.key if change is not None else "",
                to=change.value if change is not None else None,
                file=change.file if change is not None else "machine",
                also=tuple((each.key, each.value) for each in finding.also),
                seen=finding.seen,
                planned=finding.planned,
            )
        )

    def events(self) -> Iterator[CommissionEvent]:
        """Every event so far."""
        return iter(events_of(self._path, FORM))

    def going(self, procedure: str) -> Going | None:
        """The last go of `procedure` if it is not done, with what was answered so far."""
        return going(events_of(self._path, FORM), procedure)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._journal.close()


def read_record(path: Path) -> tuple[CommissionEvent, ...]:
    """Every event of a record. Raises `JournalError` where it is damaged or not there."""
    return tuple(events_of(path, FORM))


def going(events: Iterable[CommissionEvent], procedure: str) -> Going | None:
    """What `Record.going` says, by the events; another procedure that was begun meanwhile takes nothing away."""
    open_one: Going | None = None
    own = False
    for event in events:
        match event:
            case Started():
                own = event.procedure == procedure
                open_one = Going(event, {}) if own else open_one
            case Resumed():
                own = event.procedure == procedure
            case Answered() if own and open_one is not None:
                open_one.answers[event.question] = event.answer
            case Withdrawn() if own and open_one is not None:
                open_one.answers.pop(event.question, None)
            case Ended() | Failed() if event.procedure == procedure:
                open_one = None
            case _:
                pass
    return open_one


def done_on(events: Iterable[CommissionEvent], procedure: str) -> str:
    """The day on which a procedure was last brought to its end, "" where it was not, or was begun again since."""
    day = ""
    for event in events:
        match event:
            case Started() if event.procedure == procedure:
                day = ""
            case Ended() if event.procedure == procedure:
                day = event.time[:10]
            case _:
                pass
    return day


def left_to_write(events: Iterable[CommissionEvent], procedure: str) -> tuple[Finding, ...]:
    """What the last go of a procedure wanted to be changed, and is not written yet."""
    found: dict[str, Found] = {}
    for event in events:
        match event:
            case Started() if event.procedure == procedure:
                found = {}
            case Found() if event.procedure == procedure and event.to is not None:
                found[event.key] = event
            case Written():
                found.pop(event.key, None)
            case _:
                pass
    return tuple(finding_of(each) for each in found.values())


def finding_of(event: Found) -> Finding:
    """A finding as it was found, without what can be done about it with the program itself."""
    change = None if event.to is None else Change(event.key, event.to, event.file)
    return Finding(
        key=event.quantity,
        name=event.name,
        measured=measured_of(event),
        unit=event.unit,
        formula=event.formula,
        verdict=event.verdict,
        sentence=event.sentence,
        change=change,
        also=tuple(Change(key, value, event.file) for key, value in event.also),
        seen=event.seen,
        planned=event.planned,
    )


def measured_of(event: Found) -> Measured:
    """A finding of the record as it was measured."""
    return Measured(event.value, event.deviation, math.inf if event.freedom is None else event.freedom, event.ends)
