"""Which rows of a table are near one another: by the numbers in them, whatever their units."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray
from firmware_host.model.files.parts import PartRow

_NUMBER = re.compile(r"\s*([+-]?[0-9]+(?:\.[0-9]*)?(?:[eE][+-]?[0-9]+)?)\s*(.*)", re.DOTALL)

Rows = NDArray[np.intp]


def numbers_of(rows: Sequence[PartRow]) -> FloatArray:
    """What differs between `rows`, shape (rows, columns that differ), each column from 0 to 1.

    A column's numbers count where all of it are numbers of one unit; else each of its texts is as far from any other
    as the next.
    """
    columns = [
        _column([row.values.get(key) for row in rows]) for key in dict.fromkeys(k for r in rows for k in r.values)
    ]
    differing = [(each - each.min()) / np.ptp(each) for each in columns if np.ptp(each) > 0]
    return np.stack(differing, axis=-1) if differing else np.zeros((len(rows), 0))


def _column(values: list[Any]) -> FloatArray:
    if all(isinstance(each, int | float) for each in values):
        return np.array(values, dtype=np.float64)
    found = [_NUMBER.fullmatch(each) if isinstance(each, str) else None for each in values]
    if len({each[2] for each in found if each is not None}) == 1 and None not in found:
        return np.array([float(each[1]) for each in found if each is not None])
    places = {text: place for place, text in enumerate(sorted({repr(each) for each in values}))}
    return np.array([float(places[repr(each)]) for each in values])


def halves(numbers: FloatArray, rows: Rows) -> tuple[Rows, Rows]:
    """`rows` of `numbers` (2 or more), halved along the column in which they differ most."""
    widest = int(np.ptp(numbers[rows], axis=0).argmax()) if numbers.shape[1] else 0
    order = rows[np.argsort(numbers[rows, widest], kind="stable")] if numbers.shape[1] else rows
    return order[: rows.size // 2], order[rows.size // 2 :]


def near_together(rows: Sequence[PartRow], most: int) -> list[list[PartRow]]:
    """All of `rows` in lots of `most` at the most, each of rows that are near one another."""
    numbers = numbers_of(rows)
    return [[rows[place] for place in lot.tolist()] for lot in _lots(numbers, np.arange(len(rows)), most)]


def _lots(numbers: FloatArray, rows: Rows, most: int) -> Iterator[Rows]:
    if rows.size <= most:
        yield rows
        return
    for half in halves(numbers, rows):
        yield from _lots(numbers, half, most)


def spread_out(numbers: FloatArray, rows: Rows, fewest: int = 0, known: Sequence[int] = ()) -> list[int]:
    """Of `rows` those that span them: the least and the largest of each column, and that nearest the middle.

    With them are those `known` already. If they are fewer than `fewest`, some between them, too, as far as there are.
    """
    own = numbers[rows]
    middle = np.abs(own - (own.min(axis=0) + own.max(axis=0)) / 2).sum(axis=1).argmin()
    ends = [place for column in own.T for place in (int(column.argmin()), int(column.argmax()))]
    places = list(dict.fromkeys((*(int(rows[place]) for place in (*ends, int(middle))), *known)))
    between = rows[np.linspace(0, rows.size - 1, max(fewest, 1)).round().astype(int)].tolist()
    left = max(fewest - len(places), 0)
    return [*places, *[place for place in dict.fromkeys(between) if place not in places][:left]]
