"""A document as JSON values: the shapes that `--json` promises."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator
from itertools import islice
from typing import Any

from firmware_host.reporting.document import (
    MISSING,
    Document,
    Figure,
    LongRows,
    Node,
    Notes,
    Row,
    Section,
    Table,
    Value,
)
from firmware_host.reporting.render.text import value_of

_MOST_AT_ONCE = 10_000
"""Rows that are made all at once; more are made as they are written."""
_PIECES_AT_ONCE = 10_000
"""Of the text; each is a bracket or a value."""


def json_text(values: Any) -> str:
    """One JSON text, all ASCII, so that nothing in it drives a terminal."""
    return "".join(json_pieces(values))


def json_pieces(values: Any) -> Iterator[str]:
    """The same text piece by piece, for one that is longer than anybody wants to keep."""
    pieces = json.JSONEncoder(indent=2, allow_nan=False).iterencode(values)
    while some := "".join(islice(pieces, _PIECES_AT_ONCE)):
        yield some
    yield "\n"


def json_document(document: Document) -> Any:
    """Every node that has a key, under its key: a value, a list of lines, a list of rows, or a section's own values."""
    if document.as_list:
        (table,) = document.tables
        return _rows(table)
    return _values(document.nodes)


class _LongList(list[dict[str, Any]]):
    """The rows of a long table, each made as it is written."""

    def __init__(self, table: Table) -> None:
        self._table = table

    def __len__(self) -> int:
        return len(self._table.rows)

    def __iter__(self) -> Iterator[dict[str, Any]]:
        return (_row(self._table, row) for row in self._table.rows)


def _rows(table: Table) -> list[dict[str, Any]]:
    if isinstance(table.rows, LongRows) and len(table.rows) > _MOST_AT_ONCE:
        return _LongList(table)
    return [_row(table, row) for row in table.rows]


def _values(nodes: Iterable[Node]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for node in nodes:
        values |= _of_node(node)
    return values


def _of_node(node: Node) -> dict[str, Any]:
    if isinstance(node, Section):
        inner = None if node.nodes is None else _values(node.nodes)
        return {node.key: inner} if node.key else inner or {}
    if isinstance(node, Figure):
        return {node.key: _value(node.value)} if node.key and node.value is not MISSING else {}
    if isinstance(node, Notes):
        return {node.key: list(node.lines)} if node.key else {}
    return _table(node) if isinstance(node, Table) else {}


def _table(table: Table) -> dict[str, Any]:
    rows = {table.key: _rows(table)} if table.key else {}
    first, last = (
        {} if apart is None else {apart.key: None if apart.row is None else _row(table, apart.row)}
        for apart in (table.first, table.last)
    )
    return {**first, **rows, **last}


def _row(table: Table, row: Row) -> dict[str, Any]:
    pairs = zip(table.columns, map(value_of, row), strict=True)
    return {column.key: _value(value) for column, value in pairs if column.key and value is not MISSING}


def _value(value: Value) -> Any:
    """A list for a tuple and for a table, an object for a section, null for a number that is not finite."""
    if isinstance(value, tuple):
        return [_value(each) for each in value]
    if isinstance(value, Table):
        return _rows(value)
    if isinstance(value, Section):
        return None if value.nodes is None else _values(value.nodes)
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return str(value) if isinstance(value, str) else value
