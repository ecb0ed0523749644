"""A table of a document as CSV."""

from __future__ import annotations

import csv
import io

from firmware_host.reporting.document import Table


def csv_text(table: Table) -> str:
    """The rows as CSV (RFC 4180) under a header line of keys; unknown values are empty. No closing row."""
    out = io.StringIO(newline="")
    kept = [index for index, column in enumerate(table.columns) if column.key]
    writer = csv.writer(out)
    writer.writerow([table.columns[index].key for index in kept])
    writer.writerows([[row[index].value for index in kept] for row in table.rows])
    return out.getvalue()
