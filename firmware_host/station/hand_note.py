"""What a hand leaves behind: where the axis stands since a person turned it, and whether a zero was set there.

One note for each port and axis. It is written before each act, as a run's journal is, and a run that sets its zero
takes it away.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from firmware_host.model import Machine
from firmware_host.station.journal.events import (
    End,
    Event,
    Finish,
    Finished,
    JournalEvent,
    Release,
    ZeroSet,
)
from firmware_host.station.journal.last_position import LastPosition, PositionReplay

RELEASED = "the motor was released by hand"
ANOTHER_PART = "a zero was set by hand since, perhaps on another part"
COUNTED_OTHERWISE = "it was turned by hand on a machine that counts its steps otherwise"
UNREADABLE = "what a hand has left behind there cannot be read"

_FARTHEST = 1 << 53
_Steps = Annotated[int, Field(ge=-_FARTHEST, le=_FARTHEST)]
_Text = Annotated[str, Field(max_length=1000)]


class HandNote(BaseModel):
    """Positions are microsteps from `origin`, a machine step as the mark runs; the axis is at `lowest` to `highest`.

    `zero`: what stands at `origin`: "set" a zero that was set by hand, "last" that of the run before, "none" no zero:
    just where the axis stood. `job`: for which job it was set, "" for any; `place`: what was under the laser then.
    `moving`: during a move; `lost`: why the position is not known, "" if it is. `run_lost`: why the zeros of runs
    before can't be used any more, "" if they can. `counting`: of a machine that counts like this.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    counting: _Text
    origin: _Steps
    zero: Literal["set", "last", "none"]
    job: _Text = ""
    place: _Text = ""
    lowest: _Steps = 0
    highest: _Steps = 0
    moving: bool = False
    lost: _Text = ""
    run_lost: _Text = ""

    @classmethod
    def read(cls, kept: Mapping[str, object] | None) -> Self | None:
        """The note that is kept; None if none is. One that can't be read knows nothing, and says so."""
        if kept is None:
            return None
        try:
            return cls.model_validate(kept)
        except ValidationError:
            return cls(counting="", origin=0, zero="none", lost=UNREADABLE, run_lost=UNREADABLE)

    @property
    def left(self) -> LastPosition:
        """Where the axis was left."""
        return LastPosition(self.origin, 0, self.lowest, self.highest, self.lost, moving=self.moving)

    def moved(self, before: LastPosition, machine: Machine) -> LastPosition:
        """Where the axis stands from the zero of `before`, which a run on `machine` left, since a hand turned it."""
        if before.origin is None:
            return before
        if self.counting != counting(machine):
            return replace(before, lost=before.lost or COUNTED_OTHERWISE)
        apart = self.origin - before.origin
        return replace(
            before,
            lowest=self.lowest + apart,
            highest=self.highest + apart,
            moving=self.moving,
            lost=before.lost or self.run_lost or self.lost,
        )


def since_a_hand(
    left: LastPosition, kept: Mapping[str, object] | None, machine: Machine, *, same_part: bool = False
) -> LastPosition:
    """Where the axis stands from a run's zero, if a hand may have turned it since `left`; `kept`: the hand's note.

    `same_part`: nobody has said that it is the part of that run, so a zero that was set by hand speaks against it.
    """
    note = HandNote.read(kept)
    if note is None:
        return left
    moved = note.moved(left, machine)
    return replace(moved, lost=moved.lost or ANOTHER_PART) if same_part and note.zero == "set" else moved


def counting(machine: Machine) -> str:
    """What makes the steps of one machine comparable with another's, as a text."""
    scale: Fraction = machine.steps_per_axis_unit
    return f"{machine.axis.letter} {machine.axis.sign} {scale}"


class HandJournal:
    """Keeps the note current: what is written here is what the axis is about to do, or what was seen of it."""

    def __init__(self, note: HandNote, keep: Callable[[HandNote], object]) -> None:
        self.note = note
        self._keep = keep
        self._lost_before_release = ""
        self._position = PositionReplay()
        self._position.zero(ZeroSet(origin_steps=note.origin, at=note.highest, turns=0))
        replayed = self._position
        self._handlers: Mapping[type[Event], Callable[[Any], None]] = {
            ZeroSet: replayed.zero,
            Finish: replayed.go,
            Finished: replayed.finished,
            Release: replayed.released,
            End: replayed.end,
        }

    def write(self, event: JournalEvent) -> None:
        """Take in an event of a move, a stop, or a release, and keep the note. Raises `JournalError`."""
        self._handlers[type(event)](event)
        left = self._position.result()
        lost = self.note.lost or left.lost
        if isinstance(event, Release) and event.refused:
            lost = self._lost_before_release
        elif isinstance(event, Release):
            self._lost_before_release, lost = self.note.lost, RELEASED
        self._kept(self._now(self.note.origin, left, lost))

    def zero_is(
        self, origin: int, at: int, zero: Literal["set", "last", "none"], *, job: str = "", place: str = ""
    ) -> None:
        """From now on positions count from `origin`, and the axis stands at `at`. Raises `JournalError`."""
        self._position.zero(ZeroSet(origin_steps=origin, at=at, turns=0))
        now = self._now(origin, self._position.result(), "")
        self._kept(now.model_copy(update={"zero": zero, "job": job, "place": place}))

    def lose(self, why: str) -> None:
        """What was known before is lost for good: no zero of before can be used. Raises `JournalError`."""
        self._kept(self.note.model_copy(update={"run_lost": why, "zero": "none", "job": "", "place": ""}))

    def _now(self, origin: int, left: LastPosition, lost: str) -> HandNote:
        places = {"lowest": left.lowest, "highest": left.highest, "moving": left.moving}
        return self.note.model_copy(update={**places, "origin": origin, "lost": lost})

    def _kept(self, note: HandNote) -> None:
        self.note = note
        self._keep(note)
