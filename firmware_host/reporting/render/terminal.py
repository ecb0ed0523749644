"""A document as lines and tables (rich renderables) for a terminal; a plain text stream shows them as plain text."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from enum import StrEnum

from rich import table as rich_table
from rich.markup import escape
from rich.text import Text

from firmware_host.acts import Act
from firmware_host.reporting.document import Advice, Cell, Column, Document, Figure, Node, Notes, Table, Value
from firmware_host.reporting.render.printable import printable
from firmware_host.reporting.render.text import NONE, row_texts, text_of, value_of

VERDICT_STYLES = {
    "holds": "",
    "holds narrowly": "yellow",
    "accepted": "yellow",
    "exceeded": "yellow",
    "not known": "cyan",
    "fails": "bold red",
}
"""How each word of the scale of verdicts looks."""

#: Rows shown before the middle of a long table is left out.
MOST_ROWS = 60

Tell = Callable[[tuple[Act, ...]], Iterable[str]]


def terminal_parts(document: Document, tell: Tell = lambda acts: ()) -> Iterator[str | rich_table.Table]:
    """The short form of the document, top to bottom; `tell` gives the lines for what can be done."""
    for node in document.nodes:
        yield from _parts(node, tell)


def _parts(node: Node, tell: Tell) -> Iterator[str | rich_table.Table]:
    if isinstance(node, Notes):
        yield from node.lines
    elif isinstance(node, Advice):
        yield from tell(node.acts)
    elif not node.brief:
        return
    elif isinstance(node, Figure):
        yield f"{node.label}: {node.text or text_of(node.value, node.form)} {node.unit}".rstrip()
    elif isinstance(node, Table):
        if not node.is_empty:
            yield _table(node)
            yield from _below(node)
    else:
        yield from [f"{node.title}:"] if node.title and node.nodes else []
        indent = "  " if node.title else ""
        for part in (part for each in node.nodes or () for part in _parts(each, tell)):
            yield f"{indent}{part}" if isinstance(part, str) else part


def _table(table: Table) -> rich_table.Table:
    """Without frames; words stand to the left of their column, numbers to the right."""
    title = escape(table.title)
    shown = rich_table.Table(
        title=title, title_justify="left", title_style="bold", box=None, pad_edge=False, padding=(0, 2, 0, 0)
    )
    kept = [index for index, column in enumerate(table.columns) if column.brief and not column.below]
    beginning, end = table.ends(MOST_ROWS)
    seen = table.rows if len(table.rows) <= MOST_ROWS else (*beginning, *end)
    for index in kept:
        words = any(isinstance(value_of(row[index]), str | bool | tuple | Table) for row in seen)
        shown.add_column(
            escape(printable(table.columns[index].header)), justify="left" if words else "right", overflow="fold"
        )
    for row in beginning:
        shown.add_row(*(_cell(table.columns[index], row[index]) for index in kept))
    if end:
        shown.add_row("...", *[""] * (len(kept) - 1))
    for row in end:
        shown.add_row(*(_cell(table.columns[index], row[index]) for index in kept))
    return shown


def _cell(column: Column, cell: Value | Cell) -> Text:
    (text,) = row_texts((column,), (cell,))
    value = value_of(cell)
    return Text(printable(text), style=VERDICT_STYLES.get(value, "") if isinstance(value, StrEnum) else "")


def _below(table: Table) -> Iterator[str]:
    """The long words of each row, after the name of the row; of a list each item in a line of its own."""
    columns = [index for index, column in enumerate(table.columns) if column.below]
    for row in table.all_rows if columns else ():
        (name,) = row_texts(table.columns[:1], row[:1])
        lists = [value for index in columns if isinstance(value := value_of(row[index]), tuple)]
        texts = row_texts(tuple(table.columns[i] for i in columns), tuple(row[i] for i in columns)) if not lists else []
        lines = [" ".join(text for text in texts if text not in ("", NONE))]
        lines += [text_of(each) for items in lists for each in items]
        yield from (f"  {name}: {line}" for line in lines if line)
