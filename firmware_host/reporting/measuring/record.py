"""The whole record of a machine's commissioning as one dated document, for whoever takes the machine over."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from firmware_host.commissioning.procedures.base import Procedure
from firmware_host.commissioning.record import (
    Answered,
    CommissionBegin,
    CommissionEvent,
    Found,
    Resumed,
    Started,
    Withdrawn,
    Written,
    finding_of,
)
from firmware_host.reporting.document import Column, Document, Figure, Node, Notes, Table
from firmware_host.reporting.measures import counted
from firmware_host.reporting.measuring.commissioning import (
    FINDINGS,
    finding_row,
    planned_told,
    told_value,
    written_table,
)

_READINGS = (Column("time", "when"), Column("question", "reading"), Column("answer", "SI (degC), or word", form=".6g"))
_SHORT = (Column("", "what was measured"), Column("", "value (95 %)"), Column("", "verdict"), Column("", "on"))
_BESIDE = (Column("", "what was measured"), Column("", "as the plan had it"), Column("", "measured (95 %)"))
_CAUTION = "An estimate from what was read here: prove it on the machine, first without the laser."


def record_document(events: Sequence[CommissionEvent], procedures: Sequence[Procedure] = ()) -> Document:
    """All of a record: first what was measured and what became of it, behind that each formula and every reading.

    `procedures`: those there are, to say which were not carried out.
    """
    begun = next((event for event in events if isinstance(event, CommissionBegin)), None)
    newest: dict[str, Found] = {event.quantity: event for event in events if isinstance(event, Found)}
    written = [event for event in events if isinstance(event, Written)]
    rows = tuple(finding_row(finding_of(each)) for each in newest.values())
    machine = begun.machine if begun is not None else ""
    lines = tuple(f"{each.time[:10]} {_value(each)}{each.sentence}" for each in newest.values())
    return Document(
        (
            Figure("machine", "Machine", machine),
            Notes(lines or ("Nothing was found yet.",), "answer"),
            Table("findings", "The newest of each (± 95 %)", FINDINGS, rows),
            written_table(written),
            Table("readings", "Every reading", _READINGS, tuple(_readings(events)), brief=False),
            Notes((_CAUTION,)),
        ),
        first=tuple(_first(machine, newest, written, procedures)),
    )


def _first(
    machine: str, newest: dict[str, Found], written: Sequence[Written], procedures: Sequence[Procedure]
) -> Iterable[Node]:
    """The answer: what is done, what was written, what still differs, what was not measured."""
    if not newest:
        yield Notes((f"{machine}: nothing was found yet.",))
        return
    days = sorted({each.time[:10] for each in newest.values()})
    measured = {each.procedure for each in newest.values()}
    when = days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}"
    kept = {each.key for each in written}
    differs = [each for each in newest.values() if each.verdict == "change" and (not each.key or each.key not in kept)]
    untouched = [each.key for each in procedures if each.key not in measured]
    lines = [f"{machine}, measured {when}, by {counted(len(measured), 'procedure')}."]
    if kept:
        lines.append(f"Written into its files: {', '.join(sorted(kept))}.")
    lines += [f"Not as described, and not written: {each.name}. {each.sentence}" for each in differs]
    if untouched:
        lines.append(f"Not measured: {', '.join(untouched)}.")
    yield Notes(tuple(lines))
    rows = tuple(
        (each.quantity.replace("-", " "), _short(each), _become(each, kept), each.time[:10]) for each in newest.values()
    )
    yield Table("", "Findings", _SHORT, rows)
    beside = tuple((each.quantity.replace("-", " "), planned_told(finding_of(each)), _short(each))
                   for each in newest.values() if each.planned is not None)  # fmt: skip
    if beside:
        yield Table("", "Predicted beside measured", _BESIDE, beside)
    yield Notes(tuple(f"{each.name[:1].upper()}{each.name[1:]}: {each.sentence}" for each in newest.values()))
    yield Notes((_CAUTION,))


def _short(found: Found) -> str:
    """The value with its interval; of what was only seen, what is written for it."""
    value = told_value(finding_of(found))
    return str(found.to) if value == "-" and isinstance(found.to, str) else value


def _become(found: Found, kept: Iterable[str]) -> str:
    """What became of a finding: the file says so, it was changed, or it still says otherwise."""
    if found.verdict == "change" and found.key in kept:
        return "written"
    return found.verdict


def _value(event: Found) -> str:
    """Name and value before the sentence; of what was only seen, the sentence alone."""
    finding = finding_of(event)
    value = told_value(finding)
    return "" if finding.seen or value == "-" else f"{event.name}: {value}. "


def _readings(events: Iterable[CommissionEvent]) -> Iterable[tuple[str, str, float | str]]:
    procedure = ""
    for event in events:
        match event:
            case Started() | Resumed():
                procedure = event.procedure
            case Answered():
                yield (event.time, f"{procedure} {event.question}", event.answer)
            case Withdrawn():
                yield (event.time, f"{procedure} {event.question}", "taken back")
            case _:
                pass
