"""The events of a batch's journal: one frozen record for each kind, told apart by the key `event` of its line.

Lines are numbered, dated and checked as those of a run's journal. Parts count from 1. What happens within a part stands
in the journal of its run; this one says which part is where, and each line is on the disk before what it announces.
"""

from __future__ import annotations

from enum import Enum
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter

from firmware_host.model.files.parts import MOST_PARTS
from firmware_host.station.journal.events import Event, Outcome
from firmware_host.station.journal.form import JournalForm

SCHEMA = 1

_Number = Annotated[int, Field(ge=1, le=MOST_PARTS)]
_Folder = Annotated[str, Field(pattern=r"^part-[0-9]{5}(-[0-9]{1,3})?$")]
"""The name of a run's folder inside the batch's."""
_Accepted = Annotated[dict[str, str], Field(max_length=1000)]
FARTHEST = 1 << 53
"""Microsteps: no controller counts as far."""
_Seconds = Annotated[float, Field(ge=0)]


class PartZero(Enum):
    """Where the zero of a part is."""

    KEPT = "kept"
    """Where the part before had it: the motor never let go, and the axis stands where it was left."""
    HOME = "home"
    """At the home switch, which is sought for each part."""
    BY_HAND = "by-hand"
    """Where the part stands: somebody has turned it to its zero."""
    FIRST = "first"
    """Of the first part: as a run of its own takes it."""


class PartResult(Enum):
    """What became of a part."""

    GOOD = "good"
    REDONE = "redone"
    """Good, once some of its segments were marked again."""
    SCRAPPED = "scrapped"


class BatchBegin(Event):
    """The batch begins. `setup_digest`, `parts_digest`: SHA-256 of the kept job and machine, and of the kept parts.

    `released`: the motor is let go for changing the part; `writes_settings`: what a part's plan needs is written to the
    controller; `marking`: False for a batch without marking; `accepted`: limits accepted besides the job's own, each
    with its reason.
    """

    kind: Literal["begin"] = Field("begin", alias="event")
    schema_version: Literal[1] = Field(1, alias="schema")
    setup_digest: str = Field(alias="setup")
    parts_digest: str = Field(alias="table")
    job: str
    machine: str
    port: str
    parts: _Number
    released: bool = False
    writes_settings: bool = False
    marking: bool = True
    accepted: _Accepted = Field(default_factory=dict)


class BatchResume(Event):
    """The batch is resumed."""

    kind: Literal["resume"] = Field("resume", alias="event")
    schema_version: Literal[1] = Field(1, alias="schema")


class Change(Event):
    """The axis stands still and the gate is closed: part `number` may be put in. `released`: the motor is let go.

    With `refused` it is the line behind that one: the controller refused to let go of it, and why; the motor holds on.
    """

    kind: Literal["change"] = Field("change", alias="event")
    number: _Number = Field(alias="part")
    released: bool
    refused: str = Field("", max_length=300)


class PartBegin(Event):
    """Part `number` is about to be run, in the folder `run`. `diameter`: as measured, empty where it is the job's.

    `planned_s`: what turning and settling take by its plan, s. `base_steps`: where the zero of the first part of those
    was that have kept theirs since, machine steps, and `turns`: whole turns of the part from there to this zero.
    """

    kind: Literal["part"] = Field("part", alias="event")
    number: _Number = Field(alias="part")
    run: _Folder
    zero: PartZero
    diameter: str = Field("", max_length=80)
    planned_s: _Seconds = 0.0
    base_steps: int | None = Field(None, ge=-FARTHEST, le=FARTHEST)
    turns: int = Field(0, ge=-FARTHEST, le=FARTHEST)


class Redo(Event):
    """Segments of a part that was run are about to be marked again, in the folder `run`; `passes` of each."""

    kind: Literal["redo"] = Field("redo", alias="event")
    number: _Number = Field(alias="part")
    run: _Folder
    segments: tuple[Annotated[int, Field(ge=1)], ...]
    passes: Annotated[int, Field(ge=1)]


class PartDone(Event):
    """The run of a part, or of what is marked again of it, came to its end."""

    kind: Literal["done"] = Field("done", alias="event")
    number: _Number = Field(alias="part")
    run: _Folder


class Judged(Event):
    """What became of a part."""

    kind: Literal["result"] = Field("result", alias="event")
    number: _Number = Field(alias="part")
    result: PartResult


class PartSkipped(Event):
    """A part is left out: nothing of it was moved."""

    kind: Literal["skip"] = Field("skip", alias="event")
    number: _Number = Field(alias="part")
    reason: str = ""


class BatchEnd(Event):
    """The batch ends."""

    kind: Literal["end"] = Field("end", alias="event")
    outcome: Outcome
    reason: str = ""


BatchEvent = Annotated[
    BatchBegin | BatchResume | Change | PartBegin | Redo | PartDone | Judged | PartSkipped | BatchEnd,
    Field(discriminator="kind"),
]

EVENTS: TypeAdapter[BatchEvent] = TypeAdapter(BatchEvent)
"""Reads an event from its line."""

BATCH_FORM: JournalForm[BatchEvent] = JournalForm("batch", EVENTS, SCHEMA, BatchBegin)
"""The journal of a batch."""
