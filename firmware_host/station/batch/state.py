"""Where a batch stands: its journal, event by event, replayed. Whoever wants to know reads this and nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import Enum
from typing import Any

from firmware_host.station.batch.events import (
    BatchBegin,
    BatchEnd,
    BatchEvent,
    BatchResume,
    Change,
    Judged,
    PartBegin,
    PartDone,
    PartResult,
    PartSkipped,
    PartZero,
    Redo,
)
from firmware_host.station.journal.events import Event


class Stage(Enum):
    """How far a part has come."""

    TO_DO = "to do"
    RUNNING = "running"
    """Its run, or what is marked again of it, has begun and not come to its end."""
    MARKED = "marked"
    """Its run is over; nobody has said yet what became of it."""
    OVER = "over"
    """Good, redone or scrapped."""
    SKIPPED = "skipped"


@dataclass(frozen=True)
class PartState:
    """How a part of a batch stands. `runs`: the folders of its runs, the first one and each that marked some again.

    `redone`: the segments that were marked again, in the order in which they were; `again`: segments that are being
    marked again, and how many passes of each; `planned_s`: what turning and settling take by its plan. `zero`,
    `base_steps`, `turns`: where its zero is, see `PartBegin`. Times: UTC, ISO 8601, empty where there is none.
    """

    number: int
    stage: Stage = Stage.TO_DO
    result: PartResult | None = None
    reason: str = ""
    diameter: str = ""
    runs: tuple[str, ...] = ()
    redone: tuple[int, ...] = ()
    again: tuple[tuple[int, ...], int] | None = None
    zero: PartZero | None = None
    base_steps: int | None = None
    turns: int = 0
    planned_s: float = 0.0
    changing: str = ""
    began: str = ""
    ended: str = ""

    @property
    def word(self) -> str:
        """What became of it, in a word: "good", "redone", "scrapped", "skipped", "marked", "running", "to do"."""
        return self.result.value if self.result is not None else self.stage.value


@dataclass(frozen=True)
class BatchState:
    """Where a batch stands after the last line of its journal.

    `lines`: how many there are; `begin`: the first one, None in an empty journal; `outcome`: "done", "stopped",
    "failed", or "running" where there is no end (it crashed, unless a process is at work on it).
    `released`: the motor was let go since the last run of a part; `disorder`: the first act that came out of order.
    """

    lines: int
    begin: BatchBegin | None
    parts: tuple[PartState, ...]
    outcome: str
    reason: str
    started: str
    ended: str
    released: bool
    disorder: str = ""

    def count(self, *words: str) -> int:
        """How many parts are in one of these states (see `PartState.word`)."""
        return sum(part.word in words for part in self.parts)

    @property
    def next(self) -> PartState | None:
        """The part that is to be looked at now; None if none is left."""
        return next((part for part in self.parts if part.stage not in (Stage.OVER, Stage.SKIPPED)), None)

    @property
    def last_run(self) -> str:
        """The folder of the run that was the last to begin; empty if none has."""
        begun = [part for part in self.parts if part.runs]
        return begun[-1].runs[-1] if begun else ""


def replay_batch(events: Iterable[BatchEvent]) -> BatchState:
    """Where a batch stands after these events, of its first start and of every time it was resumed, in order."""
    found = BatchReplay()
    for event in events:
        found.take(event)
    return found.result()


@dataclass
class BatchReplay:
    """What the events so far amount to."""

    begin: BatchBegin | None = None
    parts: dict[int, PartState] = field(default_factory=dict)
    lines: int = 0
    outcome: str = "running"
    reason: str = ""
    last: str = ""
    released: bool = False
    released_before: bool = False
    disorder: str = ""
    due: int = 1
    """The first part that is neither over nor left out: nothing may be done to another."""

    def take(self, event: BatchEvent) -> None:
        """Add one event."""
        self.lines += 1
        self.last = event.time
        handlers: Mapping[type[Event], Callable[[Any], None]] = {
            BatchBegin: self._begin,
            BatchResume: self._resume,
            Change: self._change,
            PartBegin: self._part,
            Redo: self._redo,
            PartDone: self._done,
            Judged: self._judged,
            PartSkipped: self._skipped,
            BatchEnd: self._end,
        }
        handlers[type(event)](event)

    def result(self) -> BatchState:
        """Where the batch stands after all events taken."""
        begun = self.begin.time if self.begin is not None else ""
        parts = tuple(self.parts.values())
        return BatchState(
            self.lines, self.begin, parts, self.outcome, self.reason, begun, self.last, self.released, self.disorder
        )

    def _begin(self, event: BatchBegin) -> None:
        self.begin = event
        self.parts = {number: PartState(number) for number in range(1, event.parts + 1)}

    def _resume(self, event: BatchResume) -> None:
        self.outcome, self.reason = "running", ""

    def _end(self, event: BatchEnd) -> None:
        self.outcome, self.reason = event.outcome, event.reason

    def _change(self, event: Change) -> None:
        if event.refused:
            self.released = self.released_before
        else:
            self.released_before = self.released
            self.released = self.released or event.released
        self._set(event, event.number, (Stage.TO_DO, Stage.RUNNING), changing=event.time)  # it was begun, and never ran

    def _part(self, event: PartBegin) -> None:
        self.released = False
        known = self.parts.get(event.number)
        self._set(
            event,
            event.number,
            (Stage.TO_DO, Stage.RUNNING),
            stage=Stage.RUNNING,
            runs=(*(known.runs if known is not None else ()), event.run),
            diameter=event.diameter,
            planned_s=event.planned_s,
            zero=event.zero,
            base_steps=event.base_steps,
            turns=event.turns,
            began=event.time,
        )

    def _redo(self, event: Redo) -> None:
        known = self.parts.get(event.number)
        if known is not None:
            never_began = known.again is not None  # announced before, and announced again
            runs, redone = (*known.runs, event.run), known.redone if never_began else (*known.redone, *event.segments)
            again = event.segments, event.passes
            allowed = (Stage.MARKED, Stage.RUNNING)
            self._set(event, event.number, allowed, stage=Stage.RUNNING, runs=runs, redone=redone, again=again)

    def _done(self, event: PartDone) -> None:
        self._set(event, event.number, (Stage.RUNNING,), stage=Stage.MARKED, ended=event.time, again=None)

    def _judged(self, event: Judged) -> None:
        allowed = (Stage.RUNNING, Stage.MARKED)
        self._set(event, event.number, allowed, stage=Stage.OVER, result=event.result, ended=event.time)

    def _skipped(self, event: PartSkipped) -> None:
        self._set(event, event.number, (Stage.TO_DO, Stage.RUNNING), stage=Stage.SKIPPED, reason=event.reason)

    def _set(self, event: Event, number: int, allowed: tuple[Stage, ...], **values: Any) -> None:
        """Change what is known of a part; what comes out of order is noted."""
        known = self.parts.get(number)
        if known is None or known.stage not in allowed or number != self.due:
            self.disorder = self.disorder or f"line {event.line}: {event.kind} of part {number} out of order"
        if known is not None:
            self.parts[number] = known = replace(known, **values)
            if number == self.due and known.stage in (Stage.OVER, Stage.SKIPPED):
                self.due += 1
