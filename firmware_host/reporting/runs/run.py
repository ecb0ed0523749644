"""One run as a document: its record pass by pass, how it stands, and how to resume it."""

from __future__ import annotations

from collections.abc import Mapping

from firmware_host.reporting.assumptions import accepted_notes
from firmware_host.reporting.document import Advice, Column, Document, Figure, Notes, Row, Section, Table
from firmware_host.station.journal.record import PassRecord, PassStatus, RunRecord
from firmware_host.station.passes.choice import ranges_text
from firmware_host.station.runs.status import Place, RunStatus

_COLUMNS = (
    Column("segment", "segment"),
    Column("number", "pass"),
    Column("status", "gate"),
    Column("planned_microstep", "planned"),
    Column("reported_microstep", "reported", form=".2f"),
    Column("standstill", "standstill", brief=False),
    Column("gate_open", "gate opened", brief=False),
    Column("gate_closed", "gate closed", brief=False),
    Column("repeats", "repeats", brief=False),
)
_COUNTED = (Column("", "step counter"), Column("", "error", form="+d"))


def run_document(
    record: RunRecord,
    counters: Mapping[int, int] | None = None,
    status: RunStatus | None = None,
) -> Document:
    """The record, and behind it how the run stands, if that was looked at.

    `counters`: a step counter's own reading for each segment, from the job's zero.
    """
    because = f" ({record.reason})" if record.reason else ""
    ended = record.outcome if status is None else status.state
    accepted = tuple(Figure(name, name, why) for name, why in record.accepted.items())
    return Document(
        (
            Notes((f"{ended}{because}: {_done(record)}.",)),
            Figure("job", "Job", record.job, brief=True),
            Figure("machine", "Machine", record.machine, brief=True),
            accepted_notes(record.accepted),
            Figure("outcome", "Outcome", record.outcome),
            Figure("reason", "Reason", record.reason),
            Figure("origin_steps", "Machine step of the job's zero", record.origin_steps),
            Figure("started", "Began", record.started, brief=True),
            Figure("ended", "Last line", record.ended, brief=True),
            _passes(record, counters),
            Figure("marking", "Marking", record.marking),
            Section("accepted", "Accepted limits", accepted, brief=False),
            Figure("not_asked_for", "Segments not asked for", record.not_asked_for),
            Figure("redo_of", "Redo of", record.redo_of),
            *((status_notes(status), Advice(status.acts)) if status is not None else ()),
        )
    )


def status_notes(status: RunStatus) -> Notes:
    """What is unknown, and what to do first; nothing for a run that is done."""
    return Notes(tuple(_status_lines(status)))


def _done(record: RunRecord) -> str:
    """How many passes are done, skipped and repeated, and which segments were not asked for."""
    repeated = sum(entry.repeats for entry in record.passes)
    others = (
        f", {record.skipped} skipped by the operator" if record.skipped else "",
        f", {repeated} repeated as the operator wished" if repeated else "",
        f"; not asked for: segment {ranges_text(record.not_asked_for)}" if record.not_asked_for else "",
        f"; marked again on the part of run {record.redo_of}" if record.redo_of else "",
    )
    return f"{record.done} of {len(record.passes)} passes {record.passes_word}{''.join(others)}"


def _passes(record: RunRecord, counters: Mapping[int, int] | None) -> Table:
    columns = _COLUMNS if counters is None else (*_COLUMNS, *_COUNTED)
    rows = tuple((*entry.values(), *_counted(entry, counters)) for entry in record.passes)
    return Table("passes", "Passes", columns, rows)


def _counted(entry: PassRecord, counters: Mapping[int, int] | None) -> Row:
    if counters is None:
        return ()
    count = counters.get(entry.segment)
    return (count, None if count is None else count - entry.planned_microstep)


def _status_lines(status: RunStatus) -> list[str]:
    if status.record.outcome == "done":
        return []
    if status.under_way:
        return ["A process is working on this run now."]
    lines = [] if status.stands_still else ["The axis could not be seen to stand still. Look before you reach in."]
    for entry in status.unknown:
        lines.append(
            f"Segment {entry.segment}, pass {entry.number}: its gate was open when the run ended. It may be marked in "
            "part or in full: look at the part. You are asked about it when the run is resumed."
        )
    if not any(entry.status in (PassStatus.DONE.value, PassStatus.UNKNOWN.value) for entry in status.record.passes):
        lines.append("Nothing was marked yet.")
    return [*lines, _position(status)]


def _position(status: RunStatus) -> str:
    lowest, highest = status.microsteps
    where = f"at microstep {lowest}" if lowest == highest else f"between microsteps {lowest} and {highest}"
    return {
        Place.HOMES: "Position: the axis will seek its home switch again.",
        Place.NEW: "Position: no zero was set; the job's zero will be where the part stands.",
        Place.AS_LEFT: f"Position: the axis was left {where} from the job's zero. It must still be there.",
        Place.BY_HAND: f"Position lost: {status.why}. First turn the part to the job's zero by hand.",
    }[status.place]
