"""The record of a run: for each segment and pass the positions and the times, as its journal has them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from enum import Enum
from operator import attrgetter
from pathlib import Path
from typing import Any

from firmware_host.station.journal.events import (
    Assumed,
    Begin,
    End,
    GateClosed,
    GateOpen,
    PassDone,
    Repeat,
    Resume,
    Skip,
    Standstill,
    ZeroSet,
)
from firmware_host.station.journal.kept import save_kept


class PassStatus(Enum):
    """What is known of a pass."""

    TO_DO = "to do"
    DONE = "done"
    UNKNOWN = "unknown"
    """The gate was open when the run ended: the pass may be marked, in part or in full."""
    SKIPPED = "skipped"
    """The operator wished so. With a time at which its gate opened it was begun, and may be marked in part."""


@dataclass(frozen=True, slots=True)
class PassRecord:
    """One pass of one segment (both from 1). Positions in microsteps from the job's zero, times in UTC (ISO 8601).

    `repeats`: how often the operator wished it once more after it was done; positions and times are those of the last.
    """

    segment: int
    number: int
    status: str
    planned_microstep: int
    reported_microstep: float | None = None
    standstill: str | None = None
    gate_open: str | None = None
    gate_closed: str | None = None
    repeats: int = 0

    def values(self) -> tuple[Any, ...]:
        """Its fields in order (`astuple` takes ten times as long, and a run may have 100,000 passes)."""
        return _VALUES(self)


_VALUES = attrgetter(*(each.name for each in fields(PassRecord)))


@dataclass(frozen=True)
class RunRecord:
    """The whole run. `outcome`: "done", "stopped", "failed" or "running" (no end was journalled: it crashed)."""

    job: str
    machine: str
    outcome: str
    reason: str
    origin_steps: int | None
    started: str
    ended: str
    passes: tuple[PassRecord, ...]
    marking: bool = True
    """False for a run without marking: its passes were turned to, and nothing was marked."""
    accepted: Mapping[str, str] = field(default_factory=dict)
    """Limits that were accepted when it began or was resumed, by name, each with its reason."""
    not_asked_for: tuple[int, ...] = ()
    """Segments of the job that this run was not to mark; `passes` holds none of theirs."""
    redo_of: str = ""
    """The folder of the run that this one marks again on the same part; empty if it is none."""
    reports: str | None = None
    """What reported positions tell: "motor", where it was, or "planned", where the board had planned to be."""

    @property
    def passes_word(self) -> str:
        """What its passes are once they are done."""
        return "marked" if self.marking else "turned without marking"

    @property
    def done(self) -> int:
        """How many passes are done."""
        return sum(entry.status == PassStatus.DONE.value for entry in self.passes)

    @property
    def skipped(self) -> int:
        """How many passes the operator skipped."""
        return sum(entry.status == PassStatus.SKIPPED.value for entry in self.passes)

    @property
    def unknown(self) -> tuple[PassRecord, ...]:
        """Passes of which nobody can tell whether they were finished."""
        return tuple(entry for entry in self.passes if entry.status == PassStatus.UNKNOWN.value)

    @property
    def step_errors(self) -> tuple[int, ...]:
        """Reported less planned position, to the nearest microstep, for every pass that came to a standstill."""
        return tuple(
            round(entry.reported_microstep) - entry.planned_microstep
            for entry in self.passes
            if entry.reported_microstep is not None
        )

    def to_json(self) -> str:
        """The record as one JSON document."""
        names = tuple(each.name for each in fields(PassRecord))
        passes = [dict(zip(names, entry.values(), strict=True)) for entry in self.passes]
        document = {each.name: getattr(self, each.name) for each in fields(self)}
        return json.dumps({**document, "passes": passes, "accepted": dict(self.accepted)}, indent=2) + "\n"

    def save(self, path: Path) -> None:
        """Write it whole or not at all. Raises `JournalError` when it can't be written."""
        save_kept(path, self.to_json())


def ended_as(record: RunRecord, *, under_way: bool) -> str:
    """How a run ended, in a word: the record's outcome, but "crashed" for one without an end that nobody works on."""
    return "crashed" if record.outcome == "running" and not under_way else record.outcome


class PassesReplay:
    """Follows the passes through the events of a journal."""

    def __init__(self) -> None:
        self._begin: Begin | None = None
        self._passes: dict[tuple[int, int], PassRecord] = {}
        self._standing: tuple[float | None, str | None] = (None, None)
        self._reports: str | None = None
        self._origin: int | None = None
        self._outcome, self._reason, self._ended = "running", "", ""
        self._accepted: dict[str, str] = {}

    def begin(self, event: Begin) -> None:
        """Every pass is to do."""
        self._begin = event
        self._accepted |= event.accepted
        for segment in event.segments:
            target = event.targets[segment - 1]
            for number in range(1, event.passes + 1):
                self._passes[segment, number] = PassRecord(segment, number, PassStatus.TO_DO.value, target)

    def resume(self, event: Resume) -> None:
        """It is under way again."""
        self._outcome, self._reason = "running", ""
        self._accepted |= event.accepted

    def zero(self, event: ZeroSet) -> None:
        """Where the job's zero is."""
        self._origin = event.origin_steps

    def stand(self, event: Standstill) -> None:
        """The passes that follow are marked at this standstill."""
        self._standing = event.reported, event.time
        self._reports = event.reports or self._reports

    def gate_open(self, event: GateOpen) -> None:
        """From here on nobody can tell how far the pass has come."""
        reported, standstill = self._standing
        self._set(
            event,
            status=PassStatus.UNKNOWN.value,
            reported_microstep=reported,
            standstill=standstill,
            gate_open=event.time,
            gate_closed=None,
        )

    def gate_closed(self, event: GateClosed) -> None:
        """When the gate closed."""
        self._set(event, gate_closed=event.time)

    def done(self, event: PassDone) -> None:
        """The pass came to its end."""
        self._set(event, status=PassStatus.DONE.value)

    def assumed(self, event: Assumed) -> None:
        """Somebody has looked at the part."""
        self._set(event, status=(PassStatus.DONE if event.done else PassStatus.TO_DO).value)

    def skip(self, event: Skip) -> None:
        """What is not done of a segment is left out; a pass that was to be repeated stays done."""
        for key, entry in self._passes.items():
            if key[0] == event.segment and entry.status != PassStatus.DONE.value:
                status = PassStatus.DONE if entry.repeats else PassStatus.SKIPPED
                self._passes[key] = replace(entry, status=status.value)

    def repeat(self, event: Repeat) -> None:
        """It is to do once more."""
        known = self._passes.get((event.segment, event.number))
        repeats = known.repeats + 1 if known is not None else 1
        self._set(event, status=PassStatus.TO_DO.value, repeats=repeats)

    def end(self, event: End) -> None:
        """How it ended."""
        self._outcome, self._reason = event.outcome, event.reason

    def _set(self, event: GateOpen | GateClosed | PassDone | Assumed | Repeat, **values: Any) -> None:
        """Change what is known of a pass; one that the run does not have is left out, as it always was."""
        known = self._passes.get((event.segment, event.number))
        if known is not None:
            self._passes[event.segment, event.number] = replace(known, **values)

    def result(self, last_time: str) -> RunRecord:
        """The record; `last_time`: of the journal's last line."""
        begin = self._begin
        return RunRecord(
            job=begin.job if begin else "",
            machine=begin.machine if begin else "",
            outcome=self._outcome,
            reason=self._reason,
            origin_steps=self._origin,
            started=begin.time if begin else "",
            ended=last_time,
            passes=tuple(self._passes.values()),
            marking=begin.marking if begin else True,
            accepted=dict(self._accepted),
            not_asked_for=_left_out(begin),
            redo_of=begin.redo_of if begin else "",
            reports=self._reports,
        )


def _left_out(begin: Begin | None) -> tuple[int, ...]:
    if begin is None or begin.only is None:
        return ()
    chosen = frozenset(begin.only)
    return tuple(segment for segment in range(1, len(begin.targets) + 1) if segment not in chosen)
