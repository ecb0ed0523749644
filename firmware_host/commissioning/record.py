"""What was measured when: a journal of every reading and finding of one machine, and what can be resumed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Annotated, Literal, Self

from pydantic import Field, TypeAdapter

from firmware_host.clock import Clock
from firmware_host.commissioning.finding import Finding
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


class Ended(Event):
    """The procedure is done."""

    kind: Literal["ended"] = Field("ended", alias="event")
    procedure: _Text


class Written(Event):
    """A value went into the machine's file; `before`: what stood there; `backup`: the file as it was."""

    kind: Literal["written"] = Field("written", alias="event")
    file: _Text
    key: _Text
    before: _Text
    after: _Text
    backup: _Text


CommissionEvent = Annotated[CommissionBegin | Started | Answered | Found | Ended | Written, Field(discriminator="kind")]
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
            )
        )

    def events(self) -> Iterator[CommissionEvent]:
        """Every event so far."""
        return iter(events_of(self._path, FORM))

    def going(self, procedure: str) -> Going | None:
        """The last go of `procedure` if it was the last that was begun, and is not done."""
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
    """What `Record.going` says, by the events."""
    open_one: Going | None = None
    for event in events:
        match event:
            case Started():
                open_one = Going(event, {}) if event.procedure == procedure else None
            case Answered() if open_one is not None:
                open_one.answers[event.question] = event.answer
            case Ended():
                open_one = None
            case _:
                pass
    return open_one
