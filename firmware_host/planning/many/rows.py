"""The parts of a table, however it is given, and each of them planned: what can't be hides no other."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import chain, zip_longest
from pathlib import Path
from typing import Any, TypeAlias, TypeVar

from firmware_host.errors import InputError, LimitExceededError, PlanError, QuantityError, UnknownKeyError
from firmware_host.model.files.loading import Setup
from firmware_host.model.files.parts import PartRow, read_parts
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.many.nearness import near_together

PartTable: TypeAlias = "Path | str | Mapping[str, Sequence[Any]] | Iterable[PartRow | Mapping[str, Any]]"
"""A CSV file (see `model.files.parts`), columns by their key, or the rows: each a part, or its values by their key."""

Spread: TypeAlias = "Callable[[Callable[[Any], Any], Iterable[Any]], Iterable[Any]]"
"""`map`, or one like it that works elsewhere: that of a pool of processes, to which all that it is given is pickled."""

MOST_AT_ONCE = 16
_PIECES = 32  # at the least: the last of them leaves no process without work for long
_LOTS = 16

ENOUGH_TOGETHER, A_LOT, MOST_TOGETHER = 64, 256, 1024
"""Parts that differ: so many are made in lots of those near one another, and so many are a lot at the most."""

Made = TypeVar("Made")

Together: TypeAlias = "Callable[[Setup, Sequence[PartRow]], Sequence[Made | str]]"
"""Makes each of some rows that are near one another, or says why it can't."""

_NOTHING = object()


def part_rows(table: PartTable) -> tuple[PartRow, ...]:
    """The rows of a table. Keys are dotted ("part.diameter"); `serial` and `text` name a part; others are kept.

    A value is as in a file, a quantity with its unit; None, a number that is none, and an empty text leave the job's.
    Raises `InputError` for a table without a part, or with columns of different lengths, and what `read_parts` raises.
    """
    if isinstance(table, Path | str):
        return read_parts(Path(table))
    rows = tuple(_row(number, each) for number, each in enumerate(_records(table), 1))
    if not rows:
        raise InputError("the table holds no part", "Give a row for each part", key="table")
    return rows


def _records(table: Mapping[str, Sequence[Any]] | Iterable[PartRow | Mapping[str, Any]]) -> Iterator[Any]:
    if not isinstance(table, Mapping):
        yield from table
        return
    for cells in zip_longest(*table.values(), fillvalue=_NOTHING):
        if any(cell is _NOTHING for cell in cells):
            raise InputError("the columns of the table differ in length", "Give a value for each part", key="table")
        yield dict(zip(table, cells, strict=True))


def _row(number: int, given: PartRow | Mapping[str, Any]) -> PartRow:
    if isinstance(given, PartRow):
        return given
    cells = {key: _plain(value) for key, value in given.items()}
    values = {key: value for key, value in cells.items() if "." in key and value is not None}
    told = {key: str(value) for key, value in cells.items() if value is not None}
    return PartRow(number, told.get("serial", ""), told.get("text", ""), values, told)


def _plain(value: Any) -> Any:
    """A value as Python has it, where it comes out of an array; None where there is none."""
    value = value.item() if hasattr(value, "item") else value
    return None if value is None or value == "" or value != value else value


def each_planned(
    setup: Setup,
    table: PartTable,
    make: Callable[[Setup], Made],
    check: Check,
    told: Callable[[int], None],
    spread: Spread | None,
    together: Together[Made] | None = None,
) -> Iterator[tuple[PartRow, Made | str]]:
    """Each part with what `make` makes of the job with its values, or why nothing can be made of it.

    Rows of equal values are made once. `check` is called before each, `told` after it with how many are done. With
    `spread` several are made in one go, where it says; with `together`, that makes those of a long table. Raises
    `UnknownKeyError` for a key that neither job nor machine has, and `QuantityError` for a number without its unit,
    both with the row, before anything is made, and what `part_rows` raises.
    """
    rows = part_rows(table)
    _require_readable(setup, rows, str(table) if isinstance(table, Path | str) else "")
    keys = [_key(row) for row in rows]
    first = dict(zip(reversed(keys), reversed(rows), strict=True))
    each = [first[key] for key in dict.fromkeys(keys)]
    if together is not None and len(each) >= ENOUGH_TOGETHER:
        yield from _made_together(setup, list(zip(rows, keys, strict=True)), each, together, check, told, spread or map)
        return
    size = 1 if spread is None else max(1, min(MOST_AT_ONCE, len(each) // _PIECES))
    pieces = [each[start : start + size] for start in range(0, len(each), size)]
    made = chain.from_iterable((spread or map)(partial(_made_each, setup, make), pieces))
    left, known = Counter(keys), dict[str, Made | str]()
    for done, (row, key) in enumerate(zip(rows, keys, strict=True), 1):
        check()
        found = known.pop(key) if key in known else next(made)
        left[key] -= 1
        if left[key]:
            known[key] = found
        yield row, found
        told(done)


def _made_together(
    setup: Setup,
    rows: Sequence[tuple[PartRow, str]],
    each: Sequence[PartRow],
    together: Together[Made],
    check: Check,
    told: Callable[[int], None],
    spread: Spread,
) -> Iterator[tuple[PartRow, Made | str]]:
    """Each of `rows` by its key, of `each` that differ; those near one another are made in one go."""
    lots = near_together(each, min(MOST_TOGETHER, max(A_LOT, math.ceil(len(each) / _LOTS))))
    made, number, done = dict[str, Made | str](), Counter(key for _, key in rows), 0
    for lot, found in zip(lots, spread(partial(together, setup), lots), strict=True):
        check()
        made.update(zip(map(_key, lot), found, strict=True))
        done += sum(number[_key(row)] for row in lot)
        told(done)
    yield from ((row, made[key]) for row, key in rows)


def _key(row: PartRow) -> str:
    return repr(sorted(row.values.items()))


def inside(check: Check, spread: Spread | None) -> Check:
    """What is called while a part is made: nothing of this process where it may be made in another."""
    return check if spread is None else never


def _made_each(setup: Setup, make: Callable[[Setup], Made], rows: Sequence[PartRow]) -> list[Made | str]:
    return [made_of(setup, row, make) for row in rows]


def made_of(setup: Setup, row: PartRow, make: Callable[[Setup], Made]) -> Made | str:
    """What `make` makes of the job with the values of `row`, or why it can't."""
    try:
        return make(setup.with_values(row.values, source=_place(row)))
    except LimitExceededError as error:
        return str(error)
    except (InputError, PlanError) as error:
        return str(replace(error, source=""))


def _require_readable(setup: Setup, rows: Sequence[PartRow], file: str) -> None:
    """Try each key once, and once with a bare number: nothing is planned before what is wrong with a column is told."""
    tried = set[tuple[str, bool]]()
    for row in rows:
        for key, value in row.values.items():
            bare = isinstance(value, int | float)
            if (key, bare) in tried:
                continue
            tried.add((key, bare))
            try:
                setup.with_values({key: value}, source=_place(row))
            except UnknownKeyError as error:
                raise _at(error, row, file) from error
            except QuantityError as error:
                if bare:
                    raise _at(error, row, file) from error
            except InputError:
                continue  # a row's own trouble, told in its place


def _at(error: InputError, row: PartRow, file: str) -> InputError:
    """The error with the line of the file, or the number of the part."""
    if not row.line:
        return replace(error, source=_place(row))
    header = f', or name the unit in the header: "{error.key} UNIT"' if isinstance(error, QuantityError) else ""
    return replace(error, remedy=f"{error.remedy}{header}", source=file, line=row.line)


def _place(row: PartRow) -> str:
    return f"part {row.number}"
