"""The short form of a document, as lines and tables of cells: what a terminal and a plain text stream both show."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from firmware_host.reporting.document import Advice, Document, Figure, Node, Notes, Row, Table
from firmware_host.reporting.measures import Units
from firmware_host.reporting.render.printable import printable
from firmware_host.reporting.render.text import NONE, header_of, row_texts, text_of, value_of

if TYPE_CHECKING:
    from firmware_host.acts import Act

#: Rows shown before the middle of a long table is left out.
MOST_ROWS = 60

Tell: TypeAlias = "Callable[[tuple[Act, ...]], Iterable[str]]"


class Grid(NamedTuple):
    """A table as it is shown: printable texts, numbers to the right; `rows` are their values, to colour them."""

    title: str
    headers: list[str]
    to_the_right: list[bool]
    texts: list[list[str]]
    rows: list[Row]


class Whole(str):
    """A line that is shown in one piece, however long: a command, to be typed as it stands."""

    __slots__ = ()


def short_parts(
    document: Document,
    tell: Tell = lambda acts: (),
    *,
    details: bool = False,
    units: Units = Units.METRIC,
) -> Iterator[str | Grid]:
    """What a person reads of the document, top to bottom: what comes first, or with `details` the answer and all nodes.

    `tell` gives the lines for what can be done. Nodes of `first` are parted by empty lines.
    """
    nodes = document.first[:1] if details else document.first
    for place, node in enumerate(nodes):
        yield from ("",) if place else ()
        yield from _parts(node, tell, units)
    if details and nodes:
        yield ""
    for node in document.nodes if details or not nodes else ():
        yield from _parts(node, tell, units)


def _parts(node: Node, tell: Tell, units: Units) -> Iterator[str | Grid]:
    if isinstance(node, Notes):
        yield from node.lines
    elif isinstance(node, Advice):
        yield from map(Whole, tell(node.acts))
    elif not node.brief:
        return
    elif isinstance(node, Figure):
        yield _figure(node, units)
    elif isinstance(node, Table):
        if not node.is_empty:
            yield _grid(node, units)
            yield from _below(node)
    else:
        yield from [f"{node.title}:"] if node.title and node.nodes else []
        indent = "  " if node.title else ""
        for part in (part for each in node.nodes or () for part in _parts(each, tell, units)):
            yield type(part)(f"{indent}{part}") if isinstance(part, str) else part


def _figure(node: Figure, units: Units) -> str:
    text = node.text or text_of(node.value, node.form, node.unit, units)
    return f"{node.label}: {text} {node.unit if node.text else units.label(node.unit)}".rstrip()


def _grid(table: Table, units: Units) -> Grid:
    kept = [index for index, column in enumerate(table.columns) if column.brief and not column.below]
    columns = tuple(table.columns[index] for index in kept)
    beginning, end = table.ends(MOST_ROWS)
    seen = table.rows if len(table.rows) <= MOST_ROWS else (*beginning, *end)
    words = [any(isinstance(value_of(row[index]), str | bool | tuple | Table) for row in seen) for index in kept]
    left_out: tuple[Row, ...] = (("...", *[""] * (len(table.columns) - 1)),) if end else ()
    rows = [tuple(row[index] for index in kept) for row in (*beginning, *left_out, *end)]
    texts = [[printable(text) for text in row_texts(columns, row, units)] for row in rows]
    headers = [printable(header_of(each, units)) for each in columns]
    return Grid(table.title, headers, [not each for each in words], texts, rows)


def _below(table: Table) -> Iterator[str]:
    """The long words of each row, after the name of the row; of a list each item in a line of its own."""
    columns = [index for index, column in enumerate(table.columns) if column.below and column.brief]
    for row in table.all_rows if columns else ():
        (name,) = row_texts(table.columns[:1], row[:1])
        lists = [value for index in columns if isinstance(value := value_of(row[index]), tuple)]
        texts = row_texts(tuple(table.columns[i] for i in columns), tuple(row[i] for i in columns)) if not lists else []
        lines = [" ".join(text for text in texts if text not in ("", NONE))]
        lines += [text_of(each) for items in lists for each in items]
        yield from (f"  {name}: {line}" for line in lines if line)
