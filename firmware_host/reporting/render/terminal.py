"""A document as tables for a terminal (rich renderables)."""

from __future__ import annotations

from rich import table as rich_table
from rich.markup import escape

from firmware_host.reporting.document import Document, Table
from firmware_host.reporting.table_parts import add_rows, plain_table


def terminal_tables(document: Document) -> list[rich_table.Table]:
    """The document's tables; of a long one only the first and the last rows."""
    return [_table(table) for table in document.tables]


def _table(table: Table) -> rich_table.Table:
    headers = [column.header for column in table.columns]
    shown = plain_table(table.title, *headers, left=frozenset(c.header for c in table.columns if c.left))
    add_rows(shown, (tuple(escape(cell.text) for cell in row) for row in table.rows), len(table.rows))
    if table.closing is not None and table.closing.cells is not None:
        shown.add_row(*(escape(cell.text) for cell in table.closing.cells))
    return shown
