"""What commissioning found, as documents: one procedure's findings, the list of procedures, the whole record."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from pathlib import Path

from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.marks.strips import Strips
from firmware_host.commissioning.procedures.base import Procedure
from firmware_host.commissioning.record import (
    Answered,
    CommissionBegin,
    CommissionEvent,
    Found,
    Started,
    Written,
)
from firmware_host.reporting.document import Advice, Column, Document, Figure, Notes, Row, Table
from firmware_host.reporting.measures import give_or_take

_PROCEDURES = (Column("procedure", "procedure"), Column("title", "measures"), Column("needs", "you need", brief=False))
_FINDINGS = (
    Column("quantity", "quantity", brief=False),
    Column("name", "what was measured"),
    Column("value", "value", form=".6g"),
    Column("within", "±", form=".2g"),
    Column("unit", "unit"),
    Column("verdict", "verdict"),
    Column("deviation", "standard uncertainty", form=".3g", brief=False),
    Column("freedom", "degrees of freedom", form=".3g", brief=False),
    Column("formula", "formula", brief=False),
)
_READINGS = (Column("time", "when"), Column("question", "reading"), Column("answer", "SI (degC), or word", form=".6g"))
_WRITTEN = (
    Column("key", "key"),
    Column("before", "before"),
    Column("after", "now"),
    Column("file", "file", brief=False),
    Column("backup", "the file as it was", brief=False),
)


def procedures_document(procedures: Sequence[Procedure]) -> Document:
    """What can be measured."""
    rows = tuple((each.key, each.title, "; ".join(each.needs)) for each in procedures)
    purposes = tuple(f"{each.key}: {each.purpose}" for each in procedures)
    return Document(
        (Table("procedures", "Procedures, in the order of a new machine", _PROCEDURES, rows), Notes(purposes))
    )


def findings_document(procedure: Procedure, findings: Sequence[Finding], written: Sequence[Written]) -> Document:
    """What one procedure found; the answer is its own sentence."""
    told = tuple(line for each in findings for line in _told(each))
    rows = tuple(_row(each.key, each.name, each.measured, each.unit, each.verdict, each.formula) for each in findings)
    changed = tuple(f"Written: {each.key} = {each.after}, before {each.before or 'nothing'}." for each in written)
    kept = tuple(dict.fromkeys(f"The file as it was: {each.backup}" for each in written))
    return Document(
        (
            Figure("procedure", "Procedure", procedure.key, brief=False),
            Notes((*told, *changed, *kept), "answer"),
            Advice(tuple(act for each in findings for act in each.acts)),
            Table("findings", "Findings (± 95 %)", _FINDINGS, rows),
            _written_table(written),
        )
    )


def record_document(events: Sequence[CommissionEvent]) -> Document:
    """All of a record: the newest finding of each quantity first, then every reading and what was written."""
    begun = next((event for event in events if isinstance(event, CommissionBegin)), None)
    newest: dict[str, Found] = {event.quantity: event for event in events if isinstance(event, Found)}
    rows = tuple(
        _row(each.quantity, each.name, _measured(each), each.unit, each.verdict, each.formula)
        for each in newest.values()
    )
    lines = tuple(f"{each.time[:10]} {_value(each)}. {each.sentence}" for each in newest.values())
    return Document(
        (
            Figure("machine", "Machine", begun.machine if begun is not None else ""),
            Notes(lines or ("Nothing was found yet.",), "answer"),
            Table("findings", "The newest of each (± 95 %)", _FINDINGS, rows),
            _written_table([event for event in events if isinstance(event, Written)]),
            Table("readings", "Every reading", _READINGS, tuple(_readings(events)), brief=False),
            Notes(("An estimate from what was read here: prove it on the machine, first without the laser.",)),
        )
    )


def strips_document(strips: Strips, written: Sequence[Path]) -> Document:
    """How to mark the strips, and how to read them."""
    files = zip(strips.strips, written, strict=True)
    return Document(
        (
            Notes(strips.how, "how"),
            *(Figure(strip.key, f"Strip for {strip.where}", str(path)) for strip, path in files),
            Figure("spacing_mm", "Spacing of the lines", strips.spacing * 1e3, "mm", ".3g"),
            Figure("read_to_mm", "Read to", strips.read_to * 1e3, "mm", ".3g"),
        )
    )


def _told(finding: Finding) -> tuple[str, ...]:
    measured = finding.measured
    value = _with_interval(measured, finding.unit)
    name = f"{finding.name[:1].upper()}{finding.name[1:]}"
    if measured.within == 0:
        return (finding.sentence,)
    return (f"{name}: {value} (95 %).", finding.sentence)


def _value(event: Found) -> str:
    return f"{event.name}: {_with_interval(_measured(event), event.unit)}"


def _with_interval(measured: Measured, unit: str) -> str:
    """The value with its interval, by both ends where it lies unevenly about it."""
    if measured.ends is None:
        return f"{give_or_take(measured.value, measured.within)} {unit}".rstrip()
    return f"{measured.value:.2g} {unit}, between {measured.ends[0]:.2g} and {measured.ends[1]:.2g} {unit}".rstrip()


def _measured(event: Found) -> Measured:
    return Measured(event.value, event.deviation, math.inf if event.freedom is None else event.freedom, event.ends)


def _row(key: str, name: str, measured: Measured, unit: str, verdict: str, formula: str) -> Row:
    freedom = None if measured.freedom == math.inf else measured.freedom
    return (key, name, measured.value, measured.within, unit, verdict, measured.deviation, freedom, formula)


def _written_table(written: Sequence[Written]) -> Table:
    rows = tuple((each.key, each.before, each.after, each.file, each.backup) for each in written)
    return Table("written", "Written into the machine's file", _WRITTEN, rows, brief=bool(rows))


def _readings(events: Iterable[CommissionEvent]) -> Iterable[Row]:
    procedure = ""
    for event in events:
        if isinstance(event, Started):
            procedure = event.procedure
        elif isinstance(event, Answered):
            yield (event.time, f"{procedure} {event.question}", event.answer)
