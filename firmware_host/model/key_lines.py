"""Where in a TOML text a key stands, so that an error can name its line."""

from __future__ import annotations

import re
from collections.abc import Sequence

_TABLE = re.compile(r"^\s*(\[\[|\[)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(r"""^\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*=""")
_PART = re.compile(r"""[A-Za-z0-9_-]+|"[^"]*"|'[^']*'""")

Path = tuple[str | int, ...]


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip("\"'") for part in _PART.findall(dotted))


def key_lines(text: str) -> dict[Path, int]:
    """Map each key's path (table names, array indexes, key) to its line, counted from 1.

    Keys inside inline tables are not told apart: they stand on the line of the key that holds them.
    """
    lines: dict[Path, int] = {}
    counts: dict[Path, int] = {}
    table: Path = ()
    for number, line in enumerate(text.splitlines(), 1):
        if header := _TABLE.match(line):
            table = _array_path(_parts(header.group(2)), counts, opens_item=header.group(1) == "[[")
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            lines.setdefault((*table, *_parts(key.group(1))), number)
    return lines


def _array_path(names: Sequence[str], counts: dict[Path, int], *, opens_item: bool) -> Path:
    """The path of a table header, with the index of the current item after each name of an array of tables."""
    path: Path = ()
    for position, name in enumerate(names):
        path = (*path, name)
        if opens_item and position == len(names) - 1:
            counts[path] = counts.get(path, -1) + 1
        if path in counts:
            path = (*path, counts[path])
    return path


def line_of(path: Sequence[str | int], lines: dict[Path, int]) -> int | None:
    """Line of the key, or of the nearest table that holds it; None for the file as a whole."""
    for size in range(len(path), 0, -1):
        if (line := lines.get(tuple(path[:size]))) is not None:
            return line
    return None
