"""A table as plain lines, for a file or another program: quick, and without what only a terminal needs."""

from __future__ import annotations

import re
import textwrap
import unicodedata

from firmware_host.reporting.render.short import Grid
from firmware_host.reporting.render.text import NONE

#: Characters in a line, where there is no terminal that knows its width.
WIDTH = 80
_BETWEEN = "  "


def wrapped(text: str, width: int = WIDTH) -> list[str]:
    """A line in lines of at most `width`, the later ones set in further; a word that is longer stays whole."""
    if len(text) <= width:
        return [text]
    indent = text[: len(text) - len(text.lstrip())]
    lines = textwrap.wrap(
        _NUMBER_AND_UNIT.sub("\N{NO-BREAK SPACE}", text.strip()),
        width,
        initial_indent=indent,
        subsequent_indent=f"{indent}  ",
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines] or [""]


_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:%|(?:deg|in|k?Hz|[mu]?m|[mu]?s|[mu]?[AVNKJ]|lbf|ozf|lb|kg)(?![A-Za-z])))")
"""The blank between a number and its unit, where no line is broken."""


def grid_lines(grid: Grid, width: int = WIDTH) -> list[str] | None:
    """Title, headers and rows with their columns in line; None where a character takes more or less than one cell.

    A table wider than `width` keeps the columns that fit; what stands in the others follows below its row, after its
    header.
    """
    rows = [grid.headers, *grid.texts]
    if not all(_is_narrow(text) for row in (*rows, [grid.title]) for text in row):
        return None
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    kept = _fitting(widths, width)
    lines = wrapped(grid.title, width) if grid.title else []
    for place, row in enumerate(rows):
        lines.append(_line(row, kept, widths, grid.to_the_right))
        if place and len(kept) < len(widths):
            lines += _below(row, kept, grid.headers, width)
    return lines


def fits(grid: Grid, width: int = WIDTH) -> bool:
    """Whether every column of the table finds a place in a line of `width`."""
    widths = [max(map(len, column)) for column in zip(grid.headers, *grid.texts, strict=True)]
    return len(_fitting(widths, width)) == len(widths)


def _fitting(widths: list[int], width: int) -> list[int]:
    """The columns that stand in a line: the first one, and of the others not the widest where it is too much."""
    kept = list(range(len(widths)))
    while len(kept) > 1 and sum(widths[place] for place in kept) + len(_BETWEEN) * (len(kept) - 1) > width:
        kept.remove(max(kept[1:], key=lambda place: widths[place]))
    return kept


def _line(row: list[str], kept: list[int], widths: list[int], to_the_right: list[bool]) -> str:
    cells = (
        row[place].rjust(widths[place]) if to_the_right[place] else row[place].ljust(widths[place]) for place in kept
    )
    return _BETWEEN.join(cells)


def _below(row: list[str], kept: list[int], headers: list[str], width: int) -> list[str]:
    """What found no place in the line of a row, but for what is nothing."""
    left = (place for place in range(len(row)) if place not in kept and row[place].strip() not in ("", NONE))
    lines = (f"  {headers[place]}: {row[place]}" for place in left)
    return [line for text in lines for line in wrapped(text, width)]


def _is_narrow(text: str) -> bool:
    """Whether each character takes one cell of a line."""
    return text.isascii() or all(
        char.isprintable() and unicodedata.east_asian_width(char) not in "WF" and not unicodedata.combining(char)
        for char in text
    )
