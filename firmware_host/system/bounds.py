"""How much a text file may hold inside: looked at before a parser sees it, in one walk over its words.

A parser takes what is nested deeply, keys of many parts and numbers of many digits at a price that grows far faster
than the file. The walk knows strings and comments, and nothing else of the language: what isn't well-formed is left to
the parser.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from firmware_host.errors import UnreadableFileError

_TOML = re.compile(
    r"""
    (?P<comment>\#[^\n]*+)
    |(?P<string>\"\"\"(?:[^"\\]++|\\.|"(?!""))*+"{0,5}+|'''(?:[^']++|'(?!''))*+'{0,5}+
        |"(?:[^"\\\n]++|\\[^\n])*+"?+|'[^'\n]*+'?+)
    |(?P<mark>[\[\]{}=,]|\n\s*+)
    |(?P<dot>\.)
    |(?P<bare>[^\s\#"'\[\]{}=,.]++)
    """,
    re.VERBOSE | re.DOTALL,
)
_JSON = re.compile(
    r"""
    (?P<string>"(?:[^"\\]++|\\.)*+"?+)
    |(?P<mark>[\[\]{}:,]|\n\s*+)
    |(?P<bare>[^\s"\[\]{}:,]++)
    """,
    re.VERBOSE | re.DOTALL,
)
_SHORT = 40


class Bounds(NamedTuple):
    """The most of each: arrays and tables inside each other (`nesting`), parts of a dotted key, keys and items of the
    whole file, characters of a name or a number (`word`), and of a text in quotes.
    """

    nesting: int = 16
    key_parts: int = 12
    items: int = 20_000
    word: int = 120
    text: int = 10_000


class Token(NamedTuple):
    """A piece of a text: a string, a bare word or number, a dot, or a mark; and its line, from 1.

    Line ends that follow each other are one mark.
    """

    kind: str
    text: str
    line: int


def toml_tokens(text: str) -> Iterator[Token]:
    """The pieces of a TOML text, comments left out; an unclosed string ends where its line or the text does."""
    return _tokens(_TOML, text)


def _tokens(language: re.Pattern[str], text: str) -> Iterator[Token]:
    line = 1
    for found in language.finditer(text):
        kind, word = found.lastgroup, found.group()
        if kind is not None and kind != "comment":
            yield Token(kind, word if kind != "mark" else word[0], line)
        line += word.count("\n")


def require_bounded_toml(text: str, source: str, bounds: Bounds) -> None:
    """Raise `UnreadableFileError` with line and key where a TOML text holds more than `bounds` of anything."""
    _Walk(source, bounds, "=").over(_tokens(_TOML, text))


def require_bounded_json(text: str, source: str, bounds: Bounds) -> None:
    """Raise `UnreadableFileError` with line and key where a JSON text holds more than `bounds` of anything."""
    _Walk(source, bounds, ":").over(_tokens(_JSON, text))


def shortened(text: str, longest: int = _SHORT) -> str:
    """A text that fits into a message: the beginning and the end of a long one."""
    if len(text) <= longest:
        return text
    half = (longest - 3) // 2
    return f"{text[:half]}...{text[-half:]}"


class _Walk:
    """Where a walk over the pieces of a text is: how deep, in which table, at which key."""

    def __init__(self, source: str, bounds: Bounds, is_mark: str) -> None:
        self._source, self._bounds, self._is = source, bounds, is_mark
        self._depth = self._items = 0
        self._parts: list[str] = []
        self._dots = 0
        self._table = self._key = ""
        self._is_header = False

    def over(self, tokens: Iterator[Token]) -> None:
        bounds = self._bounds
        for token in tokens:
            if token.kind == "mark":
                self._mark(token)
            elif token.kind == "dot":
                self._dots += 1
                if self._dots >= bounds.key_parts:
                    self._refuse(f"a key of more than {bounds.key_parts} parts", token.line)
            else:
                if len(self._parts) < bounds.key_parts:
                    self._parts.append(token.text)
                self._word(token)

    def _word(self, token: Token) -> None:
        size, bounds = len(token.text), self._bounds
        if token.kind == "bare" and size > bounds.word:
            what = "number" if token.text[0] in "+-0123456789" else "word"
            self._refuse(f"a {what} of {size} characters, more than {bounds.word}", token.line)
        if token.kind == "string" and size > bounds.text + 2:
            self._refuse(f"a text of {size - 2} characters, more than {bounds.text}", token.line)

    def _mark(self, token: Token) -> None:
        mark = token.text
        if mark in "[{":
            self._is_header = self._depth == 0 and mark == "[" and self._is == "=" and not self._key
            self._depth += 1
            if self._depth > self._bounds.nesting:
                self._refuse(f"is nested too deeply: more than {self._bounds.nesting} brackets", token.line)
        elif mark in "]}":
            self._depth = max(0, self._depth - 1)
            if self._is_header:
                self._table = self._written()
        elif mark == self._is:
            self._key = self._written()
        elif mark == "\n" and self._depth == 0:
            self._key, self._is_header = "", False
        if mark in f"[{{,{self._is}":
            self._items += 1
            if self._items > self._bounds.items:
                self._refuse(f"has more than {self._bounds.items} keys and items", token.line)
        if not (mark == "]" and self._is_header):
            self._parts = []
        self._dots = 0

    def _written(self) -> str:
        return ".".join(part.strip("\"'") for part in self._parts)

    def _refuse(self, problem: str, line: int) -> None:
        table = "" if self._is_header else self._table
        key = ".".join(part for part in (table, self._key or self._written()) if part)
        remedy = "No file of this kind holds that much; name the right one"
        raise UnreadableFileError(problem, remedy, self._source, shortened(key), line)
