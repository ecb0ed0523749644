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

_FLAT = 1e-12

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


def spread_out(numbers: FloatArray, times: int = 1) -> list[int]:
    """Of rows of `numbers`, shape (rows, columns), those that span them: through which a plane is told best.

    Each is the farthest from the plane through those before it; when nothing is off that any more, one begins anew with
    the rows that are left, so many `times`.
    """
    wide = np.ptp(numbers, axis=0)
    scaled = (numbers - numbers.mean(axis=0)) / np.where(wide > 0, wide, 1.0)
    places = list[int]()
    for _ in range(times):
        left = np.delete(np.arange(len(numbers)), places)
        off = np.column_stack([np.ones(left.size), scaled[left]])
        while left.size and (sizes := np.square(off).sum(axis=1)).max() > _FLAT:
            farthest = int(sizes.argmax())
            places.append(int(left[farthest]))
            along = off[farthest] / np.sqrt(sizes[farthest])
            off = off - np.outer(off @ along, along)
    return places
