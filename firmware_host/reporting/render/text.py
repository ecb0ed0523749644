"""How a value is written for people, by its form."""

from __future__ import annotations

import math

from firmware_host.reporting.document import MISSING, Cell, Column, Row, Section, Table, Value
from firmware_host.reporting.measures import Units

NONE = "-"


def text_of(value: Value, form: str = "", unit: str = "", units: Units = Units.METRIC) -> str:
    """The value as text: "-" for none; lists, and the rows of a table within a table, are joined by commas.

    A number in `unit` is written in the reader's unit of that kind (`header_of` names it). `form` is a format
    specification of Python's for a number (".3f"), or "%" for a part of one in whole percents
    ("none" for one without end: of a limit that allows nothing).
    """
    if value is None or value is MISSING:
        return NONE
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        if form == "%":
            return f"{100 * value:.0f} %" if math.isfinite(value) else "none"
        converted, shown = units.converted(value, unit)
        return format(value, form) if shown == unit else format(converted, units.form(form, unit))
    if isinstance(value, tuple):
        return ", ".join(text_of(each, form, unit, units) for each in value) or NONE
    if isinstance(value, Table):
        return ", ".join(" ".join(row_texts(value.columns, row)) for row in value.rows) or NONE
    return NONE if isinstance(value, Section) else str(value)


def header_of(column: Column, units: Units = Units.METRIC) -> str:
    """Label and unit of a column, as they stand above the values."""
    return f"{column.label} {units.label(column.unit)}".rstrip()


def row_texts(columns: tuple[Column, ...], row: Row, units: Units = Units.METRIC) -> list[str]:
    """The text of each value of a row."""
    return [
        cell.text if isinstance(cell, Cell) else text_of(cell, column.form, column.unit, units)
        for column, cell in zip(columns, row, strict=True)
    ]


def value_of(cell: Value | Cell) -> Value:
    """The value of a cell."""
    return cell.value if isinstance(cell, Cell) else cell
