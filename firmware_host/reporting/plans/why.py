"""Why a check says what it says: its formula, everything that it takes in with its value and where that came from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from firmware_host.model.files.origins import Origin, Origins
from firmware_host.planning.compare.inputs import CheckInput, ExplainedCheck
from firmware_host.planning.limits.check import LimitCheck, Verdict
from firmware_host.reporting.document import Cell, Column, Document, Node, Notes, Row, Table
from firmware_host.reporting.measures import Units
from firmware_host.reporting.plans.first.limits import margin_of, value_and_limit

_CHECK_COLUMNS = (
    Column("name", "check"),
    Column("value", "value"),
    Column("limit", "limit"),
    Column("unit", "unit"),
    Column("margin", "margin", form="%"),
    Column("verdict", "verdict"),
    Column("formula", "formula"),
    Column("source", "source"),
    Column("remedy", "what would help"),
    Column("inputs", "inputs"),
)
_INPUT_COLUMNS = (
    Column("key", "input"),
    Column("value", "value"),
    Column("from", "from"),
    Column("file", "file", brief=False),
    Column("line", "line", brief=False),
)


def why_document(explained: Sequence[ExplainedCheck], origins: Origins, units: Units = Units.METRIC) -> Document:
    """Each check with its formula, its inputs and its source."""
    rows = tuple(_row(each, origins) for each in explained)
    shown = tuple(node for each in explained for node in _shown(each, origins, units))
    table = Table("checks", "Checks", _CHECK_COLUMNS, rows)
    return Document((table,), first=(*shown, Notes(_files(explained, origins))))


def _row(each: ExplainedCheck, origins: Origins) -> Row:
    check = each.check
    figures = (check.name, check.value, check.limit, check.unit, check.margin, check.verdict)
    return (*figures, check.formula, check.source, check.remedy, _inputs(each.inputs, origins, "Inputs"))


def _shown(each: ExplainedCheck, origins: Origins, units: Units) -> Iterator[Node]:
    check = each.check
    value, limit = value_and_limit(check, units)
    yield Notes(
        (
            f"{check.name} {check.verdict.value}: {value} where {limit} is the limit, margin {margin_of(check)}.",
            f"Formula: {units.told(check.formula)}",
            f"Source: {check.source}",
            *_help(check),
        )
    )
    yield _inputs(each.inputs, origins, "")
    sources = [f"{given.key}: {given.assumed.source}" for given in each.inputs if given.assumed is not None]
    if sources:
        yield Notes((*(f"Range of {source}" for source in sources),))


def _help(check: LimitCheck) -> tuple[str, ...]:
    if check.verdict is Verdict.HOLDS:
        return ()
    accepted = (f"Accepted: {check.reason}",) if check.reason else ()
    return (*accepted, f"What would help: {check.remedy}")


def _inputs(inputs: Sequence[CheckInput], origins: Origins, title: str) -> Table:
    return Table("", title, _INPUT_COLUMNS, tuple(_input(each, origins) for each in inputs))


def _input(each: CheckInput, origins: Origins) -> Row:
    origin = origins.of(each.path) if each.stated and each.path else Origin()
    return (each.key, each.text, Cell(_whence(each), _place(each, origin)), origin.file, origin.line)


def _whence(each: CheckInput) -> str:
    """In a word: planned, assumed, stated, or taken where nothing is stated."""
    return "planned" if each.planned else "assumed" if each.assumed else "stated" if each.stated else "default"


def _place(each: CheckInput, origin: Origin) -> str:
    if each.planned:
        return each.planned
    if each.assumed is not None:
        return f"assumed, {each.assumed.words}"
    if not each.stated:
        return "not stated, so this"
    line = f":{origin.line}" if origin.line is not None else ""
    return f"stated, {Path(origin.file).name}{line}" if origin.file else "stated"


def _files(explained: Sequence[ExplainedCheck], origins: Origins) -> tuple[str, ...]:
    """Where the files that were named lie."""
    given = (origins.of(each.path) for one in explained for each in one.inputs if each.stated and each.path)
    return tuple(dict.fromkeys(f"{Path(each.file).name}: {each.file}" for each in given if each.file))
