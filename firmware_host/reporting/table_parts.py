"""What all tables share: their looks, and the colour of a verdict."""

from __future__ import annotations

from collections.abc import Iterable

from rich.table import Table
from rich.text import Text

from firmware_host.planning.limits.report import Verdict

_STYLES = {
    Verdict.HOLDS: "",
    Verdict.NARROW: "yellow",
    Verdict.NOT_KNOWN: "cyan",
    Verdict.FAILS: "bold red",
}

#: Rows shown before the middle of a long table is left out.
MOST_ROWS = 60


def plain_table(title: str, *columns: str, left: frozenset[str] = frozenset()) -> Table:
    """An empty table without frames; columns are set to the right but those named in `left`."""
    table = Table(title=title, title_justify="left", title_style="bold", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for column in columns:
        table.add_column(column, justify="left" if column in left else "right", overflow="fold")
    return table


def verdict_text(verdict: Verdict) -> Text:
    """The verdict's word in its colour."""
    return Text(verdict.value, style=_STYLES[verdict])


def number(value: float | None, digits: int = 4) -> str:
    """A number to so many significant digits, "-" where there is none."""
    return "-" if value is None else f"{value:.{digits}g}"


def percent(part: float | None) -> str:
    """A part of one as whole percents, "-" where there is none."""
    return "-" if part is None else f"{100 * part:.0f} %"


def add_rows(table: Table, rows: Iterable[tuple[str, ...]], count: int) -> None:
    """Add the rows; of a long table only the first and the last ones."""
    half = MOST_ROWS // 2
    for index, row in enumerate(rows):
        if count <= MOST_ROWS or index < half or index >= count - half:
            table.add_row(*row)
        elif index == half:
            table.add_row("...", *[""] * (len(row) - 1))
