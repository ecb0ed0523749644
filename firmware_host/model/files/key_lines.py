"""Where in a TOML text a key stands, so that an error can name its line."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field

from firmware_host.system.bounds import Token, toml_tokens

Path = tuple[str | int, ...]


@dataclass
class _Frame:
    """An open table (with the parts of the key being read) or an open array (with the index of its item)."""

    path: Path
    index: int | None = None
    parts: list[str] = field(default_factory=list)
    in_value: bool = False


class _Reader:
    """Walks the tokens of a TOML text, keeping track of where it is."""

    def __init__(self) -> None:
        self.lines: dict[Path, int] = {}
        self._items: dict[Path, int] = {}
        self._frames = [_Frame(())]
        self._header = 0
        self._key_line = 1

    def take(self, token: Token) -> None:
        """The next token."""
        if token.kind in ("string", "bare"):
            self.word(token.text, token.line)
        elif token.kind == "mark":
            self.mark(token.text, token.line)

    @property
    def open_key(self) -> Path:
        """The key, or the name of the table, that is being read at the outermost level; empty where none is."""
        frame = self._frames[0]
        if frame.in_value:
            return frame.path
        return tuple(frame.parts) if self._header or not frame.parts else (*frame.path, *frame.parts)

    def word(self, text: str, line: int) -> None:
        """A bare word or a string: part of a key, or a value."""
        frame = self._frames[-1]
        if frame.index is not None:
            self._note((*frame.path, frame.index), line)
        elif not frame.in_value:
            if not frame.parts:
                self._key_line = line
            frame.parts.append(_plain(text))

    def mark(self, text: str, line: int) -> None:
        """A bracket, an equals sign, a comma or the end of a line."""
        frame = self._frames[-1]
        if text == "=":
            frame.path, frame.in_value = (*frame.path, *frame.parts), True
            self._note(frame.path, self._key_line)
        elif text == "[" and len(self._frames) == 1 and not frame.in_value:
            self._header += 1
        elif text in "[{":
            path = frame.path if frame.index is None else (*frame.path, frame.index)
            self._note(path, line)
            self._frames.append(_Frame(path, 0 if text == "[" else None))
        elif text in "]}" and len(self._frames) > 1:
            self._frames.pop()
        elif text == "," and frame.index is not None:
            frame.index += 1
        elif (text == "," or len(self._frames) == 1) and text != "]":
            self._end_of_pair(frame, line)

    def _end_of_pair(self, frame: _Frame, line: int) -> None:
        if self._header:
            frame.path = self._table(frame.parts, opens_item=self._header == 2)
            self._note(frame.path, line)
        elif frame.in_value:
            frame.path = frame.path[: len(frame.path) - len(frame.parts)]
        frame.parts, frame.in_value, self._header = [], False, 0

    def _table(self, names: Sequence[str], *, opens_item: bool) -> Path:
        """The path of a table header, with the index of the current item after each name of an array of tables."""
        path: Path = ()
        for position, name in enumerate(names):
            path = (*path, name)
            if opens_item and position == len(names) - 1:
                self._items[path] = self._items.get(path, -1) + 1
            if path in self._items:
                path = (*path, self._items[path])
        return path

    def _note(self, path: Path, line: int) -> None:
        self.lines.setdefault(path, line)


def _plain(text: str) -> str:
    """A key without its quotes."""
    if text.startswith('"') and "\\" in text:
        try:
            return str(tomllib.loads(f"key = {text}")["key"])
        except ValueError:
            pass  # it is none: the parser says so
    return text[1:-1] if text[0] in "\"'" else text


def key_lines(text: str) -> dict[Path, int]:
    """Map each key's path (table names, array indexes, key) to its line, counted from 1.

    Inline tables and the items of arrays have their own paths. `text` must be valid TOML.
    """
    reader = _Reader()
    for token in toml_tokens(text + "\n"):
        reader.take(token)
    return reader.lines


def key_at(text: str, line: int) -> tuple[Path, int | None]:
    """(the key that is being read where `line` ends, the line that it first stood on), in a text that may be no TOML.

    The path is empty where no key is; the line is None unless it stood there before.
    """
    reader = _Reader()
    for token in toml_tokens(text):
        if token.line > line or (token.line == line and token.text == "\n"):
            break
        reader.take(token)
    path = reader.open_key
    first = reader.lines.get(path)
    return path, first if first is not None and first < line else None


def line_of(path: Sequence[str | int], lines: dict[Path, int]) -> int | None:
    """Line of the key, or of the first key below it, or of the nearest table that holds it; None for the whole file."""
    for size in range(len(path), 0, -1):
        above = tuple(path[:size])
        if (line := lines.get(above)) is not None:
            return line
        if below := [line for other, line in lines.items() if other[:size] == above]:
            return min(below)
    return None
