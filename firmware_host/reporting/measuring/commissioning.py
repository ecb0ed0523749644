"""What commissioning found, as documents: one procedure's findings, the list of procedures, the strips to mark."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from firmware_host.acts import Act
from firmware_host.commissioning.estimates.measured import Measured
from firmware_host.commissioning.finding import Finding
from firmware_host.commissioning.marks.strips import Strips
from firmware_host.commissioning.procedures.base import Procedure
from firmware_host.commissioning.record import (
    Written,
)
from firmware_host.reporting.document import Advice, Cell, Column, Document, Figure, Notes, Row, Table
from firmware_host.reporting.measures import between, number
from firmware_host.reporting.measuring.intervals import give_or_take

_PROCEDURES = (Column("procedure", "procedure"), Column("title", "measures"), Column("needs", "you need", brief=False))
FINDINGS = (
    Column("quantity", "quantity", brief=False),
    Column("name", "what was measured"),
    Column("value", "value"),
    Column("within", "±", form=".2g", brief=False),
    Column("unit", "unit", brief=False),
    Column("planned", "as planned", brief=False),
    Column("verdict", "verdict"),
    Column("deviation", "standard uncertainty", form=".3g", brief=False),
    Column("freedom", "degrees of freedom", form=".3g", brief=False),
    Column("formula", "formula", brief=False),
)
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
    rows = tuple(finding_row(each) for each in findings)
    changed = tuple(f"Written: {each.key} = {each.after}, before {each.before or 'nothing'}." for each in written)
    kept = tuple(dict.fromkeys(f"The file as it was: {each.backup}" for each in written))
    return Document(
        (
            Figure("procedure", "Procedure", procedure.key, brief=False),
            Notes((*told, *changed, *kept), "answer"),
            Advice(tuple(act for each in findings for act in each.acts)),
            Table("findings", "Findings (± 95 %)", FINDINGS, rows),
            written_table(written),
        )
    )


def led_document(told: Sequence[tuple[str, str]], left: Sequence[str], resume: Act) -> Document:
    """What became of each procedure that a person was led through, and which are still to come, by `resume`."""
    measured = [key for key, words in told if words.startswith("measured")]
    others = [f"{key}: {words}." for key, words in told if key not in measured]
    lines = [f"Measured: {', '.join(measured) or 'nothing'}.", *others]
    if left:
        lines.append(f"Still to come: {', '.join(left)}.")
    return Document((Notes(tuple(lines), "answer"), *((Advice((resume,)),) if left else ())))


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
    if finding.measured.within == 0:
        return (finding.sentence,)
    name = f"{finding.name[:1].upper()}{finding.name[1:]}"
    return (f"{name}: {told_value(finding)} (95 %).", finding.sentence)


def finding_row(finding: Finding) -> Row:
    """A row of the findings; people read value, interval and unit in one."""
    measured = finding.measured
    freedom = None if measured.freedom == math.inf else measured.freedom
    value = Cell(measured.value, told_value(finding))
    return (
        *(
            finding.key,
            finding.name,
            value,
            measured.within,
            finding.unit,
            Cell(finding.planned, planned_told(finding)),
            finding.verdict,
        ),
        *(measured.deviation, freedom, finding.formula),
    )


def planned_told(finding: Finding) -> str:
    """What the plan reckoned with before this was measured; "-" where it reckons with nothing of the kind."""
    return f"{between(*finding.planned)} {finding.unit}".rstrip() if finding.planned is not None else "-"


def told_value(finding: Finding) -> str:
    """A value with half of its 95 % interval, or its ends where they lie unevenly; the word for what was only seen."""
    measured, unit = finding.measured, finding.unit
    if measured.ends is not None and not _even(measured):
        half, shown = (measured.ends[1] - measured.ends[0]) / 2, f" {unit}" if unit else ""
        value, low, high = (give_or_take(each, half).split()[0] for each in (measured.value, *measured.ends))
        return f"{value}{shown}, between {low} and {high}{shown}"
    if measured.within > 0:
        return f"{give_or_take(measured.value, measured.within)} {unit}".rstrip()
    return finding.seen or (f"{number(measured.value, 3)} {unit}" if unit else "-")


def _even(measured: Measured) -> bool:
    """Whether both ends lie as far from the value, as far as two digits show."""
    low, high = measured.value - measured.lowest, measured.highest - measured.value
    return abs(high - low) <= 0.02 * (high + low)


def written_table(written: Sequence[Written]) -> Table:
    """What went into the files."""
    rows = tuple((each.key, each.before, each.after, each.file, each.backup) for each in written)
    return Table("written", "Written into the machine's file", _WRITTEN, rows, brief=bool(rows))
