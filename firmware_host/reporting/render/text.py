"""How a value is written for people, by its form."""

from __future__ import annotations

import math

from firmware_host.reporting.document import MISSING, Cell, Column, Row, Section, Table, Value

NONE = "-"


def text_of(value: Value, form: str = "") -> str:
    """The value as text: "-" for none; lists, and the rows of a table within a table, are joined by commas.

    `form` is a format specification of Python's for a number (".3f"), or "%" for a part of one in whole percents
    ("none" for one without end: of a limit that allows nothing).
    """
    if value is None or value is MISSING:
        return NONE
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        if form == "%":
            return f"{100 * value:.0f} %" if math.isfinite(value) else "none"
        return format(value, form)
    if isinstance(value, tuple):
        return ", ".join(text_of(each, form) for each in value) or NONE
    if isinstance(value, Table):
        return ", ".join(" ".join(row_texts(value.columns, row)) for row in value.rows) or NONE
    return NONE if isinstance(value, Section) else str(value)


def row_texts(columns: tuple[Column, ...], row: Row) -> list[str]:
    """The text of each value of a row."""
    return [
        cell.text if isinstance(cell, Cell) else text_of(cell, column.form)
        for column, cell in zip(columns, row, strict=True)
    ]


def value_of(cell: Value | Cell) -> Value:
    """The value of a cell."""
    return cell.value if isinstance(cell, Cell) else cell
