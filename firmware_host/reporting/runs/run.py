"""One run as a document: its record pass by pass, how it stands, and how to resume it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from firmware_host.reporting.assumptions import accepted_notes
from firmware_host.reporting.document import Advice, Column, Document, Figure, Node, Notes, Row, Section, Table
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
    ended = record.outcome if status is None else status.state
    accepted = tuple(Figure(name, name, why) for name, why in record.accepted.items())
    return Document(
        (
            Notes((_outcome(record, ended),)),
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
            Figure("reports", "Reported positions are those of", record.reports),
            *((status_notes(status), Advice(status.acts)) if status is not None else ()),
        ),
        first=_first(record, counters) if status is None else (),
    )


def _first(record: RunRecord, counters: Mapping[int, int] | None) -> tuple[Node, ...]:
    """How it went, where the axis stood, and the passes that are not as they should be."""
    outcome = _outcome(record, record.outcome).removesuffix(".") + _counter_words(record, counters)
    lines = [outcome, *_stood(record), *accepted_notes(record.accepted).lines]
    odd = tuple(entry for entry in record.passes if not _as_planned(entry, counters))
    table = replace(_passes(replace(record, passes=odd[:_MOST_ODD]), counters), key="", title="Look at these passes")
    left = (Notes((f"{len(odd) - _MOST_ODD} more passes are not done, or stood elsewhere.",)),)
    return (Notes(tuple(lines)), *((table,) if odd else ()), *(left if len(odd) > _MOST_ODD else ()))


def _outcome(record: RunRecord, ended: str) -> str:
    because = f" ({record.reason})" if record.reason else ""
    return f"{ended}{because}: {_done(record)}."


def _stood(record: RunRecord) -> Iterator[str]:
    """How far the axis stood from where it should, at most; no more than the board's reports tell."""
    off = [abs(e.reported_microstep - e.planned_microstep) for e in record.passes if e.reported_microstep is not None]
    if not off:
        return
    most = f"{max(max(off), 0.005):.2f} of a microstep"
    if record.reports == "planned":
        yield f"Its board reports planned places: each within {most} of its target."
        yield "That it stood is told by its answer at the end of motion and the planned time."
    else:
        yield f"At each pass it stood within {most} of where it should."


def _counter_words(record: RunRecord, counters: Mapping[int, int] | None) -> str:
    if counters is None:
        return "."
    right = sum(counters.get(entry.segment) == entry.planned_microstep for entry in record.passes)
    return f"; the motor's step counter is the plan's at {right} of {len(record.passes)} passes."


def _as_planned(entry: PassRecord, counters: Mapping[int, int] | None) -> bool:
    there = counters is None or counters.get(entry.segment) == entry.planned_microstep
    stood = entry.reported_microstep is not None and abs(entry.reported_microstep - entry.planned_microstep) < _HALF
    return there and stood and entry.status == PassStatus.DONE.value


_HALF = 0.5
"""Microsteps by which a standstill may be reported off its place; the run itself proves that."""
_MOST_ODD = 10


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
