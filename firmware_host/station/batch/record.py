"""The record of a batch: what became of each part and how long it took, as its journal has it; the times as CSV."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from firmware_host.model.files.parts import PartRow
from firmware_host.station.batch.state import BatchState, PartState
from firmware_host.station.journal.kept import save_kept

TIME_COLUMNS = (
    "part",
    "serial",
    "diameter",
    "result",
    "redone_segments",
    "planned_turning_s",
    "used_s",
    "changing_s",
    "began",
    "ended",
    "run",
)


@dataclass(frozen=True)
class PartRecord:
    """One part. `result`: good, redone, scrapped, skipped, or how far it has come (to do, running, marked).

    `planned_turning_s`: what turning and settling take by its plan, s; `used_s`: from the beginning of its run to when
    it was judged, s; `changing_s`: from when it could be put in to the beginning of its run, s; None where there is
    none yet. `run`: the folder of its first run, below the batch's.
    """

    part: int
    serial: str
    diameter: str
    result: str
    redone_segments: tuple[int, ...]
    planned_turning_s: float | None
    used_s: float | None
    changing_s: float | None
    began: str
    ended: str
    run: str
    reason: str = ""


@dataclass(frozen=True)
class BatchRecord:
    """The whole batch. `outcome`: "done", "stopped", "failed", or "running" (no end was journalled: it crashed)."""

    job: str
    machine: str
    outcome: str
    reason: str
    started: str
    ended: str
    marking: bool
    parts: tuple[PartRecord, ...]

    def count(self, *results: str) -> int:
        """How many parts have one of these results."""
        return sum(part.result in results for part in self.parts)

    @property
    def good(self) -> int:
        """Parts that are good, redone ones among them."""
        return self.count("good", "redone")

    @property
    def over(self) -> int:
        """Parts that nothing is left to do with: good, redone, scrapped or skipped."""
        return self.count("good", "redone", "scrapped", "skipped")

    def to_json(self) -> str:
        """The record as one JSON document."""
        return json.dumps(asdict(self), indent=2) + "\n"

    def to_csv(self) -> str:
        """The times of each part, a row each (RFC 4180)."""
        file = io.StringIO(newline="")
        writer = csv.writer(file, lineterminator="\r\n")
        writer.writerow(TIME_COLUMNS)
        for part in self.parts:
            entry = asdict(part) | {"redone_segments": " ".join(map(str, part.redone_segments))}
            writer.writerow(["" if entry[name] is None else entry[name] for name in TIME_COLUMNS])
        return file.getvalue()

    def save(self, record: Path, times: Path) -> None:
        """Write both files whole or not at all. Raises `JournalError` when one can't be written."""
        for path, text in ((record, self.to_json()), (times, self.to_csv())):
            save_kept(path, text)


def batch_record(state: BatchState, rows: Sequence[PartRow]) -> BatchRecord:
    """The record of a batch that stands so; `rows`: its parts as they were kept."""
    begin = state.begin
    serials = {row.number: row.serial for row in rows}
    return BatchRecord(
        job=begin.job if begin else "",
        machine=begin.machine if begin else "",
        outcome=state.outcome,
        reason=state.reason,
        started=state.started,
        ended=state.ended,
        marking=begin.marking if begin else True,
        parts=tuple(_part(part, serials.get(part.number, "")) for part in state.parts),
    )


def _part(part: PartState, serial: str) -> PartRecord:
    return PartRecord(
        part=part.number,
        serial=serial,
        diameter=part.diameter,
        result=part.word,
        redone_segments=part.redone,
        planned_turning_s=round(part.planned_s, 3) if part.runs else None,
        used_s=seconds_between(part.began, part.ended),
        changing_s=seconds_between(part.changing, part.began),
        began=part.began,
        ended=part.ended,
        run=part.runs[0] if part.runs else "",
        reason=part.reason,
    )


def seconds_between(first: str, then: str) -> float | None:
    """From one instant to another (ISO 8601), s; None where one is not there, or the clock was put back meanwhile."""
    if not first or not then:
        return None
    try:
        took_s = round((datetime.fromisoformat(then) - datetime.fromisoformat(first)).total_seconds(), 3)
        return took_s if took_s >= 0 else None
    except (ValueError, TypeError):  # a journal may hold any text here
        return None
