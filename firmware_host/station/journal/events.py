"""The events of a run's journal: one frozen record for each kind, told apart by the key `event` of its line.

This is the form of schema 3, described for readers in `docs/pages/runs.md`. Schema 2 is the same without choice, redo,
skip and repeat; `schema1` reads the form before it.
Segments and passes count from 1. Positions are microsteps from the job's zero: a `target` as the plan has it, a
`position` as the controller counts, with the whole turns taken back so far.
"""

from __future__ import annotations

from enum import Enum
from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, model_validator

SCHEMA = 3
SCHEMA_2 = 2

Outcome = Literal["done", "stopped", "failed"]

MOST_PASSES = 100_000
"""Passes of one run, of all segments together: a day and a night at a second each."""
_FARTHEST = 1 << 53
"""Microsteps: no controller counts as far."""

_Count = Annotated[int, Field(ge=1, le=1 << 31)]
_Steps = Annotated[int, Field(ge=-_FARTHEST, le=_FARTHEST)]
_Accepted = Annotated[dict[str, str], Field(max_length=1000)]


class Zero(Enum):
    """What is known of the job's zero when a run is resumed."""

    AS_LEFT = "as-left"
    """The axis stands where the run left it, or has homed since: prove it."""
    SET_ANEW = "set-anew"
    """Somebody has turned the part to the job's zero by hand."""


class Event(BaseModel):
    """What every line holds: its number from 1, the calendar time (UTC, ISO 8601), and the clock's seconds.

    The journal puts them in when it writes the event; until then they are empty.
    """

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        strict=True,
        allow_inf_nan=False,
        populate_by_name=True,
        json_schema_serialization_defaults_required=True,
    )

    line: int = Field(0, alias="n", ge=0)
    time: str = Field("", alias="t")
    clock_s: float = Field(0.0, alias="s")
    kind: str = Field(alias="event")


class _OfPass(Event):
    """An event of one pass of one segment."""

    segment: _Count
    number: _Count = Field(alias="pass")


class Begin(Event):
    """The run begins: what is to be done. `setup_digest`: SHA-256 of the kept setup; `passes` for each segment.

    `targets`: of every segment; `only`: the segments that are marked, in order (None: all of them); `overrun`: how far
    below its target a move may go first, microsteps, to take up lost motion (None: read from a journal of schema 1,
    which does not hold it); `marking`: False for a run without marking; `accepted`: limits accepted, each with its
    reason; `redo_of`: the folder of the run that this one marks again on the same part, empty
    if it is none.
    """

    kind: Literal["begin"] = Field("begin", alias="event")
    schema_version: Literal[2, 3] = Field(3, alias="schema")
    setup_digest: str = Field(alias="setup")
    job: str
    machine: str
    port: str
    targets: tuple[_Steps, ...]
    only: tuple[_Count, ...] | None = None
    passes: _Count
    overrun: int | None = Field(None, ge=0, le=_FARTHEST)
    marking: bool
    accepted: _Accepted = Field(default_factory=dict)
    redo_of: str = ""

    @property
    def segments(self) -> tuple[int, ...]:
        """The segments that are marked, in order."""
        return tuple(range(1, len(self.targets) + 1)) if self.only is None else self.only

    @model_validator(mode="after")
    def _possible(self) -> Self:
        chosen = len(self.targets) if self.only is None else len(self.only)
        if chosen * self.passes > MOST_PASSES:
            raise ValueError(f"more than {MOST_PASSES} passes in one run")
        if self.only is not None and not (self.only and _rises(0, *self.only, len(self.targets) + 1)):
            raise ValueError(f"chosen are other segments than some of 1 to {len(self.targets)} in order")
        return self


def _rises(*numbers: int) -> bool:
    return all(low < high for low, high in pairwise(numbers))


class Resume(Event):
    """The run is resumed; `zero` says what is known of the job's zero. From here on lines are of this schema.

    `accepted`: limits accepted from now on besides those before, each with its reason.
    """

    kind: Literal["resume"] = Field("resume", alias="event")
    schema_version: Literal[2, 3] = Field(3, alias="schema")
    zero: Zero
    accepted: _Accepted = Field(default_factory=dict)


class Assumed(_OfPass):
    """A pass that was interrupted is treated as done, or as not done, when the run is resumed."""

    kind: Literal["assumed"] = Field("assumed", alias="event")
    done: bool


class Home(Event):
    """The axis is about to seek its home switch."""

    kind: Literal["home"] = Field("home", alias="event")


class ZeroSet(Event):
    """Where the job's zero is: `origin_steps` in machine steps, of a reversed axis with the other sign than the
    controller's. The axis stands at position `at`.

    `turns`: whole turns taken back since the zero was set; `scale_known`: the exact steps per unit are known, because
    this program wrote them (None where the zero only moves with turns taken back).
    """

    kind: Literal["zero"] = Field("zero", alias="event")
    origin_steps: _Steps
    at: _Steps
    turns: _Steps
    scale_known: bool | None = None


class Move(Event):
    """The axis is about to move to a segment. `position` is None where a journal of schema 1 does not hold it."""

    kind: Literal["move"] = Field("move", alias="event")
    segment: _Count
    target: _Steps
    position: _Steps | None = None


class Standstill(Event):
    """The axis is proved to stand still at a segment, where it settles. `reported` is to be compared with `target`.

    `reports`: what `reported` tells, the place of the motor or the one that the board had planned; where it is planned,
    the answer at the end of motion and the planned time are all that proves the standstill. None: an older journal.
    `position` is None where a journal of schema 1 does not hold it.
    """

    kind: Literal["standstill"] = Field("standstill", alias="event")
    segment: _Count
    target: _Steps
    position: _Steps | None = None
    reported: float
    reports: Literal["motor", "planned"] | None = None


class Unwind(Event):
    """The axis is about to take whole turns back, before a segment: to position `target`, `turns` back in all."""

    kind: Literal["unwind"] = Field("unwind", alias="event")
    segment: _Count
    target: _Steps
    turns: _Steps


class GateOpen(_OfPass):
    """The gate is about to open for a pass."""

    kind: Literal["gate-open"] = Field("gate-open", alias="event")


class GateClosed(_OfPass):
    """The gate is closed again."""

    kind: Literal["gate-closed"] = Field("gate-closed", alias="event")


class PassDone(_OfPass):
    """The pass came to its end."""

    kind: Literal["pass-done"] = Field("pass-done", alias="event")


class Skip(Event):
    """What is left of a segment is skipped, as the operator wished: it is not marked any more in this run."""

    kind: Literal["skip"] = Field("skip", alias="event")
    segment: _Count


class Repeat(_OfPass):
    """A pass that is done is to be marked once more, as the operator wished."""

    kind: Literal["repeat"] = Field("repeat", alias="event")


class Finish(Event):
    """The axis is about to move to the job's end position."""

    kind: Literal["finish"] = Field("finish", alias="event")
    target: _Steps


class Finished(Event):
    """The axis stands still at the job's end position."""

    kind: Literal["finished"] = Field("finished", alias="event")
    target: _Steps
    reported: float


class Release(Event):
    """The motor is about to be released, as it was asked for: the position is lost.

    With `refused` it is the line behind that one: the controller refused it, and why. The motor holds on then, and the
    position is not lost by it.
    """

    kind: Literal["release"] = Field("release", alias="event")
    refused: str = Field("", max_length=300)


class PositionLost(Event):
    """The controller was found reset, locked, or with its motor released; nothing was resumed."""

    kind: Literal["position-lost"] = Field("position-lost", alias="event")
    reason: str


class End(Event):
    """The run ends. `stands_still`: False where the axis could not be seen to stand still."""

    kind: Literal["end"] = Field("end", alias="event")
    outcome: Outcome
    reason: str = ""
    stands_still: bool = True
    position_lost: bool = False


JournalEvent = Annotated[
    Begin
    | Resume
    | Assumed
    | Home
    | ZeroSet
    | Move
    | Standstill
    | Unwind
    | GateOpen
    | GateClosed
    | PassDone
    | Skip
    | Repeat
    | Finish
    | Finished
    | Release
    | PositionLost
    | End,
    Field(discriminator="kind"),
]

EVENTS: TypeAdapter[JournalEvent] = TypeAdapter(JournalEvent)
"""Reads an event from its line."""
