"""One neutral document for each thing shown: figures and tables with keys, which terminal, JSON and CSV render alike.

A node's `key` is its name in JSON; what has an empty key is for people only.
"""

from __future__ import annotations

from dataclasses import dataclass

Value = str | int | float | bool | None


@dataclass(frozen=True)
class Cell:
    """A value, and how it is written for people."""

    value: Value
    text: str


@dataclass(frozen=True)
class Figure:
    """A single value with its key. It is data: a terminal does not show it."""

    key: str
    value: Value


@dataclass(frozen=True)
class Column:
    """A column of a table: its key, its header with the unit, and whether its text is set to the left."""

    key: str
    header: str
    left: bool = False


@dataclass(frozen=True)
class Closing:
    """A last row apart from the others, with a key of its own; `cells` is None where it has no row.

    `without`: the columns that it has no value for; in JSON they are left out.
    """

    key: str
    cells: tuple[Cell, ...] | None
    without: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Table:
    """Rows of cells, one for each column."""

    key: str
    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    closing: Closing | None = None


Node = Figure | Table


@dataclass(frozen=True)
class Document:
    """All that is shown of one thing, in order."""

    nodes: tuple[Node, ...]

    @property
    def tables(self) -> tuple[Table, ...]:
        """The tables among the nodes."""
        return tuple(node for node in self.nodes if isinstance(node, Table))
