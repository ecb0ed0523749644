"""A table of parts: one row for each part of a batch, as a CSV file holds it (RFC 4180, UTF-8, with a header).

Columns that are known: `serial`, `diameter` (as measured), `text`, and every dotted key of the job ("mark.arc"), which
then has this value for this part. Any other column is kept as it is. A unit may stand in the header ("diameter mm").
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from firmware_host.errors import InputError, UnreadableFileError
from firmware_host.system.bounds import shortened
from firmware_host.system.files import read_regular
from firmware_host.system.parsing import utf8_text

DIAMETER = "part.diameter"
"""The key that a column `diameter` gives."""
MOST_PARTS = 10_000
LARGEST_TABLE = 8_000_000
"""Bytes of a file."""
MOST_COLUMNS = 64
LONGEST_CELL = 1_000
LONGEST_ROW = 2_000
"""Bytes of all cells of a row with the names of their columns, as JSON: it must fit into a line to the gate."""

_NUMBER = re.compile(r"[+-]?[0-9]+(?:\.[0-9]*)?(?:[eE][+-]?[0-9]+)?")
_WHOLE = re.compile(r"[+-]?[0-9]{1,12}")
_HEADER = re.compile(r"(?P<name>.*?)\s*(?:\((?P<round>[^()]+)\)|\[(?P<square>[^\[\]]+)\]|\s(?P<bare>[^\s()\[\]]+))?")
_OWN = ("serial", "diameter", "text")


@dataclass(frozen=True)
class PartRow:
    """One part: its number from 1, serial and text (empty where it has none).

    `values`: what it changes of the job, each by its dotted key; `columns`: every cell as it was written, by the name
    of its column; `line`: where it stands in the file, 0 where there is none.
    """

    number: int
    serial: str = ""
    text: str = ""
    values: Mapping[str, Any] = field(default_factory=dict)
    columns: Mapping[str, str] = field(default_factory=dict)
    line: int = 0

    @property
    def diameter(self) -> str:
        """Its diameter as measured, with the unit; empty where it is the job's."""
        return str(self.values.get(DIAMETER, ""))


def numbered_parts(count: int) -> tuple[PartRow, ...]:
    """`count` parts that differ in their number alone. Raises `InputError` for none, and for more than `MOST_PARTS`."""
    if not 1 <= count <= MOST_PARTS:
        raise InputError(f"{count} is no number of parts", f"Say 1 to {MOST_PARTS}", key="parts")
    return tuple(PartRow(number) for number in range(1, count + 1))


def read_parts(path: Path) -> tuple[PartRow, ...]:
    """The parts of a table, in order.

    Raises `UnreadableFileError` with the line for what is no such table: no UTF-8, no header, a quotation mark
    without its partner, a row with other columns than the header, a number without a unit where one is needed, a serial
    that stands twice, more than is allowed of anything.
    """
    text = utf8_text(read_regular(path, LARGEST_TABLE), str(path))
    return _Table(str(path)).parts(text)


@dataclass(frozen=True)
class _Column:
    """A column: its name as written, what it is called without its unit, and the unit, if the header has one."""

    written: str
    name: str
    unit: str

    @property
    def key(self) -> str:
        """The key of the job that it gives; empty if it gives none."""
        return DIAMETER if self.name == "diameter" else self.name if "." in self.name else ""


class _Table:
    """Reads one table; `source` is what its errors name."""

    def __init__(self, source: str) -> None:
        self._source = source

    def parts(self, text: str) -> tuple[PartRow, ...]:
        rows = self._rows(text)
        header_line, header = next(rows, (1, []))
        columns = self._columns(header, header_line)
        found: list[PartRow] = []
        serials: dict[str, int] = {}
        for line, cells in rows:
            if len(found) == MOST_PARTS:
                raise self._error(line, f"has more than {MOST_PARTS} parts", "Make several tables of it")
            part = self._part(len(found) + 1, line, columns, cells)
            if part.serial and part.serial in serials:
                problem = f"serial {shortened(part.serial)!r} stands twice, first on line {serials[part.serial]}"
                raise self._error(line, problem, "Give each part its own", key="serial")
            serials[part.serial] = line
            found.append(part)
        if not found:
            raise self._error(header_line, "holds no part", "Write a line for each part below the header")
        return tuple(found)

    def _rows(self, text: str) -> Iterator[tuple[int, list[str]]]:
        """Each row that isn't empty, with the line it begins on."""
        reader = csv.reader(io.StringIO(text, newline=""), strict=True)
        begins = 1
        try:
            for cells in reader:
                if cells:
                    self._require_short(cells, begins)
                    yield begins, cells
                begins = reader.line_num + 1
        except csv.Error as error:
            remedy = 'Put a text with commas or quotation marks into "...", each mark inside doubled'
            raise self._error(begins, f"is no CSV ({error})", remedy) from error

    def _require_short(self, cells: Sequence[str], line: int) -> None:
        if len(cells) > MOST_COLUMNS:
            raise self._error(line, f"has more than {MOST_COLUMNS} columns", "Leave some out")
        for cell in cells:
            if len(cell) > LONGEST_CELL:
                raise self._error(line, f"has a cell of {len(cell)} signs, more than {LONGEST_CELL}", "Shorten it")
            if not all(sign.isprintable() or sign in "\n\r\t" for sign in cell):
                raise self._error(line, f"has a sign that cannot be shown in {shortened(cell)!r}", "Take it out")

    def _columns(self, header: Sequence[str], line: int) -> tuple[_Column, ...]:
        columns = tuple(map(_column, header))
        if len(header) == 1 and header[0].count(";") > 0:
            raise self._error(line, "has its columns apart by semicolons", "Save it with commas between the columns")
        seen: dict[str, str] = {}
        for column in columns:
            if not column.name:
                raise self._error(line, "has a column without a name", "Name every column in the first line")
            same = column.key or column.name
            if same in seen:
                problem = f"columns {seen[same]!r} and {column.written!r} say the same"
                raise self._error(line, problem, "Leave one of them out", key=column.written)
            seen[same] = column.written
        return columns

    def _part(self, number: int, line: int, columns: Sequence[_Column], cells: Sequence[str]) -> PartRow:
        if len(cells) != len(columns):
            problem = f"has {len(cells)} cells, and the header has {len(columns)} columns"
            raise self._error(line, problem, 'Put a text with commas into quotation marks ("...")')
        written = {column.written: cell.strip() for column, cell in zip(columns, cells, strict=True)}
        own = {column.name: written[column.written] for column in columns if column.name in _OWN}
        values = {
            column.key: self._value(column, written[column.written], line)
            for column in columns
            if column.key and written[column.written]
        }
        if sum(len(name) + len(cell.encode("unicode_escape")) + 8 for name, cell in written.items()) > LONGEST_ROW:
            raise self._error(line, f"has more than {LONGEST_ROW} bytes in a row", "Leave some columns out")
        return PartRow(number, own.get("serial", ""), own.get("text", ""), values, written, line)

    def _value(self, column: _Column, cell: str, line: int) -> Any:
        """What a cell gives its key: a number with the header's unit, a whole number, or the text itself."""
        bare = _NUMBER.fullmatch(cell) is not None
        if column.unit and bare:
            return f"{cell} {column.unit}"
        if column.key == DIAMETER and bare:
            remedy = f'Write "{cell} mm", or name the unit in the header: "{column.written} mm"'
            raise self._error(line, f"{cell} is a number without a unit", remedy, key=column.written)
        return int(cell) if _WHOLE.fullmatch(cell) else float(cell) if bare else cell

    def _error(self, line: int, problem: str, remedy: str, key: str = "") -> UnreadableFileError:
        return UnreadableFileError(problem, remedy, self._source, key, line)


def _column(written: str) -> _Column:
    """A column by what its header says: "diameter mm", "diameter (mm)" and "diameter [mm]" name a unit, too.

    Only what gives a value may: the name of any other column may have several words.
    """
    text = written.strip()
    found = _HEADER.fullmatch(text)
    name = found["name"] if found is not None else text
    unit = (found["round"] or found["square"] or found["bare"] or "") if found is not None else ""
    lower = name.casefold()
    if lower == "diameter":
        return _Column(text, lower, unit)
    if re.fullmatch(r"[a-z_]+(?:\.[A-Za-z0-9_-]+)+", name):
        return _Column(text, name, unit)
    whole = text.casefold()
    return _Column(text, whole if whole in _OWN else text, "")
