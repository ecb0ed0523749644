"""Two combs across a seam, read like a vernier: a gap or an overlap to a tenth of the spacing, by eye alone.

The comb that the first segment marks has its lines `spacing` apart, that of the second nine tenths of it; both have
their zero where the seam should be, side by side along the axis. If the second comb is shifted by g, the lines of
number i meet where i*spacing = i*0.9*spacing + g: the number of the lines that meet is the gap in tenths of the spacing
(the vernier's principle, as metrology handbooks have it for the calliper).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from firmware_host.errors import FormulaRangeError

LINES = 10
"""Lines to each side of the zero."""
TENTHS = 10
USUAL_SPACING = 0.5e-3
"""Of the lines, m."""
_FEWEST_M = 1e-5


@dataclass(frozen=True)
class Comb:
    """Lines of one comb: `places` (m around the surface, from the middle of its segment, in order), their `numbers`.

    `lower`: it takes the half of the band that lies nearer to the drive.
    """

    places: tuple[float, ...]
    numbers: tuple[int, ...]
    lower: bool


def combs(first_arc: float, second_arc: float, spacing: float) -> tuple[Comb, Comb]:
    """The combs of a seam between segments of these arcs (m, > 0): at the end of the first, the start of the second.

    `spacing` (m) from 10 um up to a twentieth of the narrower segment, so that both combs stay on it.
    """
    most = min(first_arc, second_arc) / (2 * LINES)
    if not _FEWEST_M <= spacing <= most:
        raise FormulaRangeError("spacing of the lines", spacing * 1e3, "mm", most * 1e3, "Choose one between")
    numbers = tuple(range(-LINES, LINES + 1))
    first = tuple(first_arc / 2 + number * spacing for number in numbers)
    second = tuple(-second_arc / 2 + number * spacing * (1 - 1 / TENTHS) for number in numbers)
    return Comb(first, numbers, lower=True), Comb(second, numbers, lower=False)


def gap_by(number: float, spacing: float) -> float:
    """The gap (m, - an overlap) where the lines of `number` meet; a half means that it lies between two."""
    _require_line(number)
    return number * spacing / TENTHS


def gap_between(first: int, second: int, spacing: float) -> float:
    """The gap (m, - an overlap) where line `first` of the comb at a segment's end meets `second` of the next one's.

    first*spacing = second*0.9*spacing + g: lines of one number tell a gap up to one spacing, others more than that.
    """
    _require_line(first)
    _require_line(second)
    return (first * TENTHS - second * (TENTHS - 1)) * spacing / TENTHS


def _require_line(number: float) -> None:
    if not -LINES <= number <= LINES:
        remedy = "Count again from the long line in the middle: there are no more"
        raise FormulaRangeError("number of the lines that meet", number, "", LINES, remedy)


def read_to(spacing: float) -> float:
    """How closely it is read (m, a limit): half a tenth of the spacing."""
    return spacing / TENTHS / 2


def as_drawn(place: float, radius: float) -> float:
    """Where a line is drawn flat (m) that is to come out `place` (m) around a surface of `radius` (m): r sin(s/r).

    Raises `FormulaRangeError` beyond a quarter of the way round, which no ray from above reaches.
    """
    if abs(place) >= math.pi / 2 * radius:
        raise FormulaRangeError("place of a line", place * 1e3, "mm", math.pi / 2 * radius * 1e3, "Take less spacing")
    return radius * math.sin(place / radius)
