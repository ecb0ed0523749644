"""Earlier runs as a document, and whether the files of one agree."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from firmware_host.reporting.document import MISSING, Cell, Column, Document, Row, Table
from firmware_host.station.batch.listing import ListedBatch
from firmware_host.station.batch.record import BatchRecord
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.passes.choice import ranges_text
from firmware_host.station.runs.listing import ListedRun
from firmware_host.station.runs.verify import RunFinding

_RUN_COLUMNS = (
    Column("run", "run"),
    Column("outcome", "outcome"),
    Column("reason", "because of"),
    Column("job", "job"),
    Column("machine", "machine", brief=False),
    Column("started", "began", brief=False),
    Column("ended", "last line", brief=False),
    Column("done", "passes"),
    Column("passes", "of", brief=False),
    Column("marking", "marking"),
    Column("skipped", "skipped", brief=False),
    Column("not_asked_for", "not asked for", brief=False),
    Column("redo_of", "redo of", brief=False),
    Column("parts", "parts", brief=False),
)
_FINDING_COLUMNS = (Column("name", "looked at"), Column("holds", "verdict"), Column("detail", "what was seen"))


def runs_document(
    runs: Iterable[ListedRun], batches: Mapping[ListedBatch, Iterable[ListedRun]] | None = None
) -> Document:
    """A row for each run, and for each batch with one for each run of its parts; of one that can't be read only why."""
    rows = {run.path: [_run(run)] for run in runs}
    for batch, inside in (batches or {}).items():
        rows[batch.path] = [_batch(batch), *map(_run, inside)]
    return Document((Table("", "Runs", _RUN_COLUMNS, tuple(row for path in sorted(rows) for row in rows[path])),), True)


def findings_document(findings: Iterable[RunFinding]) -> Document:
    """A row for each thing looked at."""
    rows = tuple(
        (each.name, Cell(each.holds, "holds" if each.holds else "DOES NOT HOLD"), each.detail) for each in findings
    )
    return Document((Table("", "Files of the run", _FINDING_COLUMNS, rows),), as_list=True)


def _unreadable(listed: ListedRun | ListedBatch) -> Row:
    known = (str(listed.path), listed.state, listed.problem)
    return (*known, *[MISSING] * (len(_RUN_COLUMNS) - len(known)))


def _beginning(path: Path, state: str, record: RunRecord | BatchRecord) -> Row:
    """What a run and a batch both begin with."""
    return (str(path), state, record.reason, record.job, record.machine, record.started, record.ended)


def _run(run: ListedRun) -> Row:
    record = run.record
    if record is None:
        return _unreadable(run)
    passes = len(record.passes)
    return (
        *_beginning(run.path, run.state, record),
        Cell(record.done, f"{record.done}/{passes}"),
        passes,
        Cell(record.marking, _marking(record)),
        record.skipped,
        Cell(record.not_asked_for, ranges_text(record.not_asked_for)),
        record.redo_of,
        MISSING,
    )


def _batch(batch: ListedBatch) -> Row:
    record = batch.record
    if record is None:
        return _unreadable(batch)
    parts = len(record.parts)
    return (
        *_beginning(batch.path, batch.state, record),
        Cell(MISSING, f"{record.over}/{parts} parts"),
        MISSING,
        Cell(record.marking, "" if record.marking else "without marking"),
        MISSING,
        MISSING,
        MISSING,
        parts,
    )


def _marking(record: RunRecord) -> str:
    """What is special about its marking."""
    special = ("" if record.marking else "without marking", f"redo of {record.redo_of}" if record.redo_of else "")
    return ", ".join(filter(None, special))
