"""One value of a TOML text set, with a remark behind it: every other byte stays as it is, whatever its style."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from firmware_host.errors import InputError
from firmware_host.model.files.key_lines import key_lines
from firmware_host.system.parsing import parse_toml

MEASURED = "measured "
"""How the remark behind a measured value begins."""
_MARK_BEFORE = "\ufeff"
"""Some editors put it before a text."""
_BETWEEN = " | "
"""Between the remarks of several values on one line."""
_PIECE = re.compile(rf"({MEASURED}\d{{4}}-\d\d-\d\d)(?: \(([\w-]+)\))?(: .*)", re.DOTALL)
_TEXT_OR_COMMENT = re.compile(r""""(?:[^"\\]|\\.)*"|'[^']*'|(\#.*)$""")

Value = str | int | float | bool
Remark = Callable[[str, str], str]
"""From the value that stood there and the remark behind it ("" for none) to the new remark."""
Path = tuple[str | int, ...]


class Edited(NamedTuple):
    """The text with the value in it, and what stood there ("" for nothing)."""

    text: str
    before: str


def set_value(
    text: str, key: str, value: str | int | float | bool, remark: Remark, *, tables: frozenset[str]
) -> Edited:
    """Set `key` (dotted; an item of a list by its number) to `value`; a table of `tables` that is missing is added.

    The remark stands behind the value; of one in an inline table at the end of its line, with the name of the key.
    Raises `InputError` for a place that is not there, and where the text would say anything else than before.
    """
    import tomlkit  # takes a while, and only this needs it
    from tomlkit.items import InlineTable

    mark = _MARK_BEFORE if text.startswith(_MARK_BEFORE) else ""
    plain = text.removeprefix(mark)
    document = tomlkit.parse(plain)
    path = _path(key)
    table = _table(document, path, key, tables)
    before = str(table.get(path[-1], ""))
    if isinstance(table, InlineTable):
        table[str(path[-1])] = tomlkit.item(value)
        written = _remarked(tomlkit.dumps(document), path, before, remark)
    else:
        _put(table, str(path[-1]), value, remark, before)
        written = _with_line_ends_of(plain, tomlkit.dumps(document))
    _require_nothing_else(plain, written, path, value, key)
    return Edited(mark + written, before)


class Remarked(NamedTuple):
    """A measured value of a file: its dotted key, the value as it stands there, when and how well it was measured."""

    key: str
    value: str
    remark: str


def remarked_values(text: str) -> Iterator[Remarked]:
    """The values of a TOML text that were measured, in its order; the remark tells those before, too."""
    plain = text.removeprefix(_MARK_BEFORE).replace("\r\n", "\n")
    tables, lines = parse_toml(plain, "the file"), plain.split("\n")
    for path, line in key_lines(plain).items():
        value = _at(tables, path)
        if value is None or isinstance(value, dict | list):
            continue
        for piece in _comment(lines[line - 1]).split(_BETWEEN):
            found = _PIECE.fullmatch(piece)
            if found is not None and found[2] in (None, path[-1]):
                yield Remarked(".".join(map(str, path)), str(value), found[1] + found[3])


def _path(key: str) -> Path:
    return tuple(int(part) if part.isdigit() else part for part in key.split("."))


def _table(document: Any, path: Path, key: str, tables: frozenset[str]) -> Any:
    """The table that holds the key."""
    import tomlkit

    if len(path) == 2 and path[0] not in document and path[0] in tables:
        document.add(path[0], tomlkit.table())
    place = document
    for parent in path[:-1]:
        try:
            place = place[parent]
        except (KeyError, IndexError) as error:
            raise InputError(f"there is no {str(parent)!r}", "Write it by hand where it belongs", key=key) from error
        if isinstance(place, str):
            remedy = "It is described in a file of its own: change it there"
            raise InputError(f"{parent} = {str(place)!r} is a name", remedy, key=key)
    return place


def _put(table: Any, key: str, value: Any, remark: Remark, before: str) -> None:
    """Set a key of a table with lines of its own; a new one goes behind the last, before what is said of the next."""
    import tomlkit

    item = tomlkit.item(value)
    old = _item(table, key)
    if old is not None:
        item.trivia.indent, item.trivia.trail = old.trivia.indent, old.trivia.trail
    item.comment(remark(before, str(old.trivia.comment).lstrip("# ") if old is not None else ""))
    behind = _taken_off(table) if key not in table else []
    table[key] = item
    if behind:
        table.value.body.extend(behind)


def _item(table: Any, key: str) -> Any:
    """The value with what stands around it; None where there is none."""
    if key not in table:
        return None
    found = table.item(key) if hasattr(table, "item") else table[key]
    return found if hasattr(found, "trivia") else None


def _taken_off(table: Any) -> list[Any]:
    """The empty lines and remarks at a table's end, taken off it: they belong to what comes next."""
    body = table.value.body if hasattr(table, "value") and hasattr(table.value, "body") else []
    behind: list[Any] = []
    while body and body[-1][0] is None and any(key is not None for key, _ in body):
        behind.insert(0, body.pop())
    return behind


def _remarked(written: str, path: Path, before: str, remark: Remark) -> str:
    """The text with the remark at the end of the line of a key that has no line of its own."""
    lines = written.split("\n")
    place = key_lines(written.replace("\r\n", "\n"))[path] - 1
    line = lines[place].removesuffix("\r")
    end = lines[place][len(line) :]
    comment = _comment(line)
    pieces = [piece for piece in comment.split(_BETWEEN) if piece]
    found = [(piece, match) for piece in pieces if (match := _PIECE.fullmatch(piece)) is not None]
    own = next(((piece, match) for piece, match in found if match[2] == path[-1]), None)
    new = remark(before, own[1][1] + own[1][3] if own is not None else "")
    named = new.replace(":", f" ({path[-1]}):", 1)
    pieces = [named if own is not None and piece == own[0] else piece for piece in pieces]
    pieces += [] if own is not None else [named]
    body = line[: len(line) - len(_whole_comment(line))].rstrip() if comment else line.rstrip()
    lines[place] = f"{body} # {_BETWEEN.join(pieces)}{end}"
    return "\n".join(lines)


def _whole_comment(line: str) -> str:
    return next((found[1] for found in _TEXT_OR_COMMENT.finditer(line) if found[1]), "")


def _comment(line: str) -> str:
    return _whole_comment(line.rstrip()).lstrip("# ")


def _with_line_ends_of(text: str, written: str) -> str:
    """`written` with the line ends of another system where all of `text` has them."""
    if text.count("\n") > text.count("\r\n"):
        return written
    return written.replace("\r\n", "\n").replace("\n", "\r\n")


def _require_nothing_else(text: str, written: str, path: Path, value: Any, key: str) -> None:
    """Raise `InputError` unless the tables of both texts differ in that value alone."""
    before, after = parse_toml(text, "the file"), parse_toml(written, "the file as it would be")
    place: Any = before
    for parent in path[:-1]:
        place = place.setdefault(parent, {}) if isinstance(place, dict) else place[parent]
    place[path[-1]] = value
    if before != after:
        raise InputError("it can't be written there alone", "Write it by hand where it belongs", key=key)


def _at(tables: Any, path: Path) -> Any:
    for part in path:
        try:
            tables = tables[part]
        except (KeyError, IndexError, TypeError):
            return None
    return tables
