"""One neutral document for each thing shown: a small tree of values and words, which every form renders alike.

A node's `key` is its name in JSON; what has an empty key is for people only. `brief`: whether it stands in the short
form that a terminal shows; JSON and a page have it either way. Values are kept as they are; `form` says how a number is
written for people (see `text.py`), and a length, a torque or a mass is shown in the reader's own units (`measures.py`).

The answer first: `Document.first` is what a person reads at once, in place of `nodes`. Its first node is the answer, at
most eight lines of 80 characters in words that are understood at a glance; behind it comes what matters most, all in
all at most 24 lines for an ordinary job. Nothing grave is left to the details: what fails, is exceeded, is not known,
assumed or accepted, and the cautions, are told there, if only in a few words. Nodes of `first` have no key, for `nodes`
have it all: they are JSON, and what `--details` shows behind the answer. A document without `first` is short by itself.
A column of formulas or sources isn't `brief`: they are told by `plans/why.py`, for the check that is asked about.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import islice
from typing import TYPE_CHECKING, TypeAlias, overload

if TYPE_CHECKING:
    from firmware_host.acts import Act


class Missing(Enum):
    """A value that is not there at all: JSON leaves its key out."""

    MISSING = "missing"


MISSING = Missing.MISSING

Value: TypeAlias = "str | int | float | bool | Missing | tuple[Value, ...] | Table | Section | None"


@dataclass(frozen=True)
class Cell:
    """A value of a table with a text of its own, where the column's form does not fit it."""

    value: Value
    text: str


@dataclass(frozen=True)
class Figure:
    """A single value with its label and unit; `text` where the form does not fit it."""

    key: str
    label: str
    value: Value
    unit: str = ""
    form: str = ""
    brief: bool = False
    text: str = ""


@dataclass(frozen=True)
class Notes:
    """Sentences, each a line of its own."""

    lines: tuple[str, ...]
    key: str = ""


@dataclass(frozen=True)
class Advice:
    """What can be done; the command or the button for each act is whoever's shows the document."""

    acts: tuple[Act, ...]


@dataclass(frozen=True)
class Column:
    """A column of a table. `below`: long words, which a terminal tells in lines under the table."""

    key: str
    label: str
    unit: str = ""
    form: str = ""
    brief: bool = True
    below: bool = False

    @property
    def header(self) -> str:
        """Label and unit, as they stand above the values."""
        return f"{self.label} {self.unit}".rstrip()


Row: TypeAlias = "tuple[Value | Cell, ...]"


class LongRows(Sequence[Row]):
    """Rows that are made as they are asked for, so that a million of them take no memory.

    `make(start, stop)` yields the rows of those numbers, counted from 0, of `size` in all.
    """

    def __init__(self, size: int, make: Callable[[int, int], Iterator[Row]]) -> None:
        self._size, self._make = size, make

    def __len__(self) -> int:
        return self._size

    def __iter__(self) -> Iterator[Row]:
        for start in range(0, self._size, _AT_ONCE):
            yield from self._make(start, min(start + _AT_ONCE, self._size))

    @overload
    def __getitem__(self, place: int) -> Row: ...

    @overload
    def __getitem__(self, place: slice) -> tuple[Row, ...]: ...

    def __getitem__(self, place: int | slice) -> Row | tuple[Row, ...]:
        if isinstance(place, slice):
            start, stop, step = place.indices(self._size)
            return tuple(islice(self._make(start, stop), 0, None, step)) if step > 0 else tuple(self)[place]
        at = range(self._size)[place]
        return next(self._make(at, at + 1))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and len(self) == len(other) and all(map(_same, self, other))

    __hash__ = None  # type: ignore[assignment]


def _same(row: Row, other: object) -> bool:
    return row == other


_AT_ONCE = 4096
"""Rows made in one go."""


@dataclass(frozen=True)
class Apart:
    """A row apart from the others, with a key of its own; `row` is None where there is none."""

    key: str
    row: Row | None


@dataclass(frozen=True)
class Table:
    """Rows of values, one for each column; `first` and `last` stand before and behind them, also in JSON."""

    key: str
    title: str
    columns: tuple[Column, ...]
    rows: Sequence[Row]
    first: Apart | None = None
    last: Apart | None = None
    brief: bool = True

    @property
    def all_rows(self) -> Iterator[Row]:
        """The rows with those apart, as people see them."""
        yield from self._apart(self.first)
        yield from self.rows
        yield from self._apart(self.last)

    @property
    def is_empty(self) -> bool:
        """Whether there is no row at all."""
        return next(self.all_rows, None) is None

    def ends(self, most: int) -> tuple[tuple[Row, ...], tuple[Row, ...]]:
        """What people see of a long table: its beginning and its end; all of it and nothing if it has `most` rows."""
        first, last = (tuple(self._apart(each)) for each in (self.first, self.last))
        if len(self.rows) <= most:
            return (*first, *self.rows, *last), ()
        half = most // 2
        return (*first, *self.rows[:half])[:half], (*self.rows[-half:], *last)

    @staticmethod
    def _apart(apart: Apart | None) -> Iterator[Row]:
        if apart is not None and apart.row is not None:
            yield apart.row


@dataclass(frozen=True)
class Section:
    """Nodes that belong together, under a title; None where there is nothing to say."""

    key: str
    title: str
    nodes: tuple[Node, ...] | None
    brief: bool = True


Node: TypeAlias = "Figure | Notes | Advice | Table | Section"


@dataclass(frozen=True)
class Document:
    """All that is shown of one thing, in order. `as_list`: its JSON is the bare list of the rows of its one table.

    `first`: what a person reads first, the answer before all else; see above.
    """

    nodes: tuple[Node, ...]
    as_list: bool = False
    first: tuple[Node, ...] = ()

    @property
    def tables(self) -> tuple[Table, ...]:
        """The tables among the nodes."""
        return tuple(node for node in self.nodes if isinstance(node, Table))
