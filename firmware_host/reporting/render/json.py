"""A document as JSON values: the shapes that `--json` promises."""

from __future__ import annotations

from typing import Any

from firmware_host.reporting.document import Cell, Document, Figure, Table


def json_document(document: Document) -> dict[str, Any]:
    """Figures by their keys, a table as a list of rows, its closing row (or null) behind it under its own key."""
    values: dict[str, Any] = {}
    for node in document.nodes:
        if isinstance(node, Figure):
            values[node.key] = node.value
        else:
            values |= _table(node)
    return values


def _table(table: Table) -> dict[str, Any]:
    values: dict[str, Any] = {table.key: [_row(table, row) for row in table.rows]}
    if table.closing is not None:
        cells, without = table.closing.cells, table.closing.without
        values[table.closing.key] = None if cells is None else _row(table, cells, without)
    return values


def _row(table: Table, cells: tuple[Cell, ...], without: frozenset[str] = frozenset()) -> dict[str, Any]:
    pairs = zip(table.columns, cells, strict=True)
    return {column.key: cell.value for column, cell in pairs if column.key and column.key not in without}
