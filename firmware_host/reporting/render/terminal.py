"""A document as lines and tables (rich renderables) for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum

from rich import table as rich_table
from rich.text import Text

from firmware_host.reporting.document import Cell, Document, Value
from firmware_host.reporting.measures import Units
from firmware_host.reporting.render.short import Grid, Tell, short_parts
from firmware_host.reporting.render.text import value_of

VERDICT_STYLES = {
    "holds": "",
    "holds narrowly": "yellow",
    "accepted": "yellow",
    "exceeded": "yellow",
    "not known": "cyan",
    "fails": "bold red",
}
"""How each word of the scale of verdicts looks."""


def terminal_parts(
    document: Document,
    tell: Tell = lambda acts: (),
    *,
    details: bool = False,
    units: Units = Units.METRIC,
) -> Iterator[str | rich_table.Table]:
    """What a person reads of the document, top to bottom, as `short_parts` gives it."""
    for part in short_parts(document, tell, details=details, units=units):
        yield rich_grid(part) if isinstance(part, Grid) else part


def rich_grid(grid: Grid) -> rich_table.Table:
    """Without frames; words stand to the left of their column, numbers to the right."""
    shown = rich_table.Table(
        title=Text(grid.title, style="bold"), title_justify="left", box=None, pad_edge=False, padding=(0, 2, 0, 0)
    )
    for header, to_the_right in zip(grid.headers, grid.to_the_right, strict=True):
        shown.add_column(Text(header), justify="right" if to_the_right else "left", overflow="fold")
    for texts, row in zip(grid.texts, grid.rows, strict=True):
        shown.add_row(*map(_cell, texts, row))
    return shown


def _cell(text: str, cell: Value | Cell) -> Text:
    value = value_of(cell)
    return Text(text, style=VERDICT_STYLES.get(value, "") if isinstance(value, StrEnum) else "")
