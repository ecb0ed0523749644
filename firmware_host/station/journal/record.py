"""The record of a run, made from its journal: for each segment and pass the positions and the times."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass
from enum import Enum
from pathlib import Path
from typing import Any

from firmware_host.errors import JournalError
from firmware_host.system.files import write_whole


class PassStatus(Enum):
    """What is known of a pass."""

    TO_DO = "to do"
    DONE = "done"
    UNKNOWN = "unknown"
    """The gate was open when the run ended: the pass may be marked, in part or in full."""


@dataclass(frozen=True)
class PassRecord:
    """One pass of one segment (both from 1). Positions in microsteps from the job's zero, times in UTC (ISO 8601)."""

    segment: int
    number: int
    status: str
    planned_microstep: int
    reported_microstep: float | None = None
    at_rest: str | None = None
    gate_open: str | None = None
    gate_closed: str | None = None


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

    @property
    def passes_word(self) -> str:
        """What its passes are once they are done."""
        return "marked" if self.marking else "turned without marking"

    @property
    def done(self) -> int:
        """How many passes are done."""
        return sum(entry.status == PassStatus.DONE.value for entry in self.passes)

    @property
    def step_errors(self) -> tuple[int, ...]:
        """Reported less planned position, to the nearest microstep, for every pass that came to rest."""
        return tuple(
            round(entry.reported_microstep) - entry.planned_microstep
            for entry in self.passes
            if entry.reported_microstep is not None
        )

    def to_json(self) -> str:
        """The record as one JSON document."""
        return json.dumps(asdict(self), indent=2) + "\n"

    def save(self, path: Path) -> None:
        """Write it whole or not at all. Raises `JournalError` when it can't be written."""
        try:
            write_whole(path, self.to_json())
        except OSError as error:
            raise JournalError(str(path), f"cannot be written ({error.strerror})") from error


def ended_as(record: RunRecord, *, under_way: bool) -> str:
    """How a run ended, in a word: the record's outcome, but "crashed" for one without an end that nobody works on."""
    return "crashed" if record.outcome == "running" and not under_way else record.outcome


def make_record(events: Iterable[Mapping[str, Any]]) -> RunRecord:
    """Build the record from a journal's events (of the first run and of every one that resumed it)."""
    story = _Story()
    for event in events:
        story.take(event)
    return story.record()


class _Story:
    """What the events so far amount to."""

    def __init__(self) -> None:
        self._head: dict[str, Any] = {"targets": [], "passes": 1}
        self._passes: dict[tuple[int, int], dict[str, Any]] = {}
        self._rest: dict[str, Any] = {}
        self._origin: int | None = None
        self._outcome, self._reason, self._ended = "running", "", ""
        self._tellers: dict[str, Callable[[Mapping[str, Any]], None]] = {
            "begin": self._begin,
            "resume": self._resume,
            "zero": self._zero,
            "at-rest": self._at_rest,
            "gate-open": self._gate_open,
            "gate-closed": self._gate_closed,
            "pass-done": self._pass_done,
            "assumed": self._assumed,
            "end": self._end,
        }

    def take(self, event: Mapping[str, Any]) -> None:
        """Add one event; kinds that say nothing of the record are passed over."""
        self._ended = event["t"]
        teller = self._tellers.get(event["event"])
        if teller is not None:
            teller(event)

    def _begin(self, event: Mapping[str, Any]) -> None:
        self._head = dict(event)

    def _resume(self, event: Mapping[str, Any]) -> None:
        self._outcome, self._reason = "running", ""

    def _zero(self, event: Mapping[str, Any]) -> None:
        self._origin = event["origin_steps"]

    def _at_rest(self, event: Mapping[str, Any]) -> None:
        self._rest = {"reported_microstep": event["reported"], "at_rest": event["t"]}

    def _gate_open(self, event: Mapping[str, Any]) -> None:
        opened = {**self._rest, "gate_open": event["t"], "gate_closed": None, "status": PassStatus.UNKNOWN.value}
        self._passes[event["segment"], event["pass"]] = opened

    def _gate_closed(self, event: Mapping[str, Any]) -> None:
        self._of(event)["gate_closed"] = event["t"]

    def _pass_done(self, event: Mapping[str, Any]) -> None:
        self._of(event)["status"] = PassStatus.DONE.value

    def _assumed(self, event: Mapping[str, Any]) -> None:
        self._of(event)["status"] = (PassStatus.DONE if event["done"] else PassStatus.TO_DO).value

    def _end(self, event: Mapping[str, Any]) -> None:
        self._outcome, self._reason = event["outcome"], event.get("reason", "")

    def _of(self, event: Mapping[str, Any]) -> dict[str, Any]:
        return self._passes.setdefault((event["segment"], event["pass"]), {})

    def record(self) -> RunRecord:
        """The record of all events taken."""
        rows = [
            PassRecord(
                segment=segment,
                number=number,
                planned_microstep=target,
                **{"status": PassStatus.TO_DO.value, **self._passes.get((segment, number), {})},
            )
            for segment, target in enumerate(self._head["targets"], 1)
            for number in range(1, self._head["passes"] + 1)
        ]
        return RunRecord(
            job=self._head.get("job", ""),
            machine=self._head.get("machine", ""),
            outcome=self._outcome,
            reason=self._reason,
            origin_steps=self._origin,
            started=self._head.get("t", ""),
            ended=self._ended,
            passes=tuple(rows),
            marking=self._head.get("marking", True),
        )
