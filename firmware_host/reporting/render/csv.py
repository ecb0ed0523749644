"""A table of a document as CSV."""

from __future__ import annotations

import csv
import io
from typing import Any

from firmware_host.reporting.document import MISSING, Table, Value
from firmware_host.reporting.render.text import value_of


def csv_text(table: Table) -> str:
    """The rows as CSV (RFC 4180) under a header line of keys, without the rows apart.

    What is not known is empty; lists are joined by semicolons, and in them the cells of a row by "=".
    """
    out = io.StringIO(newline="")
    kept = [index for index, column in enumerate(table.columns) if column.key]
    writer = csv.writer(out)
    writer.writerow([table.columns[index].key for index in kept])
    writer.writerows([[_plain(value_of(row[index])) for index in kept] for row in table.rows])
    return out.getvalue()


def _plain(value: Value) -> Any:
    if isinstance(value, tuple):
        return ";".join(str(_plain(each)) for each in value)
    if isinstance(value, Table):
        return ";".join("=".join(str(_plain(value_of(cell))) for cell in row) for row in value.rows)
    return "" if value is None or value is MISSING else value
