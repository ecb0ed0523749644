"""A batch as a document: what became of each part, how long it took, and how to resume it."""

from __future__ import annotations

from firmware_host.reporting.document import Advice, Column, Document, Figure, Notes, Row, Table
from firmware_host.station.batch.listing import ListedBatch
from firmware_host.station.batch.record import BatchRecord, PartRecord

_COLUMNS = (
    Column("part", "part"),
    Column("serial", "serial"),
    Column("diameter", "diameter"),
    Column("result", "result"),
    Column("redone_segments", "segments redone"),
    Column("planned_turning_s", "turning planned", "s", form=".1f", brief=False),
    Column("used_s", "took", "s", form=".1f"),
    Column("changing_s", "changing", "s", form=".1f"),
    Column("began", "began", brief=False),
    Column("ended", "ended", brief=False),
    Column("run", "run"),
    Column("reason", "because of", brief=False),
)


def batch_document(batch: ListedBatch) -> Document:
    """The record of a batch, and how to resume it where it is not done."""
    record = batch.record
    if record is None:
        return Document((Notes((f"unreadable: {batch.problem}",)), Figure("outcome", "Outcome", batch.state)))
    because = f" ({record.reason})" if record.reason else ""
    return Document(
        (
            Notes((f"{batch.state}{because}: {record.over} of {len(record.parts)} parts, {counted(record)}",)),
            Figure("job", "Job", record.job, brief=True),
            Figure("machine", "Machine", record.machine, brief=True),
            Figure("outcome", "Outcome", batch.state),
            Figure("reason", "Reason", record.reason),
            Figure("good", "Good parts, redone ones among them", record.good),
            Figure("redone", "Redone parts", record.count("redone")),
            Figure("scrapped", "Scrapped parts", record.count("scrapped")),
            Figure("skipped", "Parts left out", record.count("skipped")),
            Figure("started", "Began", record.started, brief=True),
            Figure("ended", "Last line", record.ended, brief=True),
            Table("parts", "Parts", _COLUMNS, tuple(map(_part, record.parts))),
            Figure("marking", "Marking", record.marking),
            Advice(batch.acts),
        )
    )


def counted(record: BatchRecord) -> str:
    """How many parts are good, redone, scrapped and left out, and how many are left."""
    left = len(record.parts) - record.over
    counts = [
        f"{record.good} good" + (f" ({record.count('redone')} of them redone)" if record.count("redone") else ""),
        *([f"{record.count('scrapped')} scrapped"] if record.count("scrapped") else []),
        *([f"{record.count('skipped')} left out"] if record.count("skipped") else []),
        *([f"{left} to do"] if left else []),
    ]
    return ", ".join(counts) + "."


def _part(part: PartRecord) -> Row:
    redone = " ".join(map(str, part.redone_segments))
    return (
        part.part,
        part.serial,
        part.diameter,
        part.result,
        redone,
        part.planned_turning_s,
        part.used_s,
        part.changing_s,
        part.began,
        part.ended,
        part.run,
        part.reason,
    )
