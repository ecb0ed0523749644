"""A table as plain lines, for a file or another program: quick, and without what only a terminal needs."""

from __future__ import annotations

import unicodedata

from firmware_host.reporting.render.short import Grid

#: Characters in a line, where there is no terminal that knows its width.
WIDTH = 160
_BETWEEN = "  "


def grid_lines(grid: Grid) -> list[str] | None:
    """Title, headers and rows with their columns in line; None where that is too wide, or not one cell a character."""
    rows = [grid.headers, *grid.texts]
    if not all(_is_narrow(text) for row in (*rows, [grid.title]) for text in row):
        return None
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    whole = sum(widths) + len(_BETWEEN) * (len(widths) - 1)
    if max(whole, len(grid.title)) > WIDTH:
        return None
    lines = [grid.title] if grid.title else []
    for row in rows:
        cells = [
            text.rjust(width) if to_the_right else text.ljust(width)
            for text, width, to_the_right in zip(row, widths, grid.to_the_right, strict=True)
        ]
        lines.append(_BETWEEN.join(cells))
    return lines


def _is_narrow(text: str) -> bool:
    """Whether each character takes one cell of a line."""
    return text.isascii() or all(
        char.isprintable() and unicodedata.east_asian_width(char) not in "WF" and not unicodedata.combining(char)
        for char in text
    )
