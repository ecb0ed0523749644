"""The record of a run as a document: one row per pass, planned and reported position."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import astuple

from firmware_host.reporting.document import Column, Document, Figure, Row, Table
from firmware_host.station.journal.record import PassRecord, RunRecord

_COLUMNS = (
    Column("segment", "segment"),
    Column("number", "pass"),
    Column("status", "gate"),
    Column("planned_microstep", "planned"),
    Column("reported_microstep", "reported", form=".2f"),
    Column("standstill", "standstill", brief=False),
    Column("gate_open", "gate opened", brief=False),
    Column("gate_closed", "gate closed", brief=False),
)
_COUNTED = (Column("", "step counter"), Column("", "error", form="+d"))


def run_document(record: RunRecord, counters: Mapping[int, int] | None = None) -> Document:
    """The record, with a step counter's own reading for each segment beside it if there is one."""
    return Document(
        (
            Figure("job", "Job", record.job),
            Figure("machine", "Machine", record.machine),
            Figure("outcome", "Outcome", record.outcome),
            Figure("reason", "Reason", record.reason),
            Figure("origin_steps", "Machine step of the job's zero", record.origin_steps),
            Figure("started", "Began", record.started),
            Figure("ended", "Last line", record.ended),
            Table(
                "passes",
                "Passes",
                _COLUMNS if counters is None else (*_COLUMNS, *_COUNTED),
                tuple((*astuple(entry), *_counted(entry, counters)) for entry in record.passes),
            ),
            Figure("marking", "Marking", record.marking),
        )
    )


def _counted(entry: PassRecord, counters: Mapping[int, int] | None) -> Row:
    if counters is None:
        return ()
    count = counters.get(entry.segment)
    return (count, None if count is None else count - entry.planned_microstep)
