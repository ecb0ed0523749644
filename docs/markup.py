"""The words of the HTML templates and pages: what stands between tags, and in the attributes that are read aloud."""

from __future__ import annotations

import re
from html.parser import HTMLParser

_READ = {"alt", "aria-label", "title", "placeholder"}
_HOLE = re.compile(r"\{\{.*?\}\}|\$\{(?:[^{}]|\{[^}]*\})*\}", re.DOTALL)
_JS_TEXT = re.compile(r"\"(?:[^\"\\\n]|\\.)*\"|`(?:[^`\\]|\\.)*`")


def words_of_markup(source: str, suffix: str) -> list[tuple[int, str]]:
    """The texts of a template or a page, each with its line, with `{name}` for what is filled in."""
    source = re.sub(r"\{%.*?%\}", lambda found: re.sub(r"[^\n]", " ", found[0]), source, flags=re.DOTALL)
    source = _HOLE.sub(_slot, source)
    if suffix == ".js":
        said = [(source.count("\n", 0, each.start()) + 1, each[0][1:-1]) for each in _JS_TEXT.finditer(source)]
        return [(line, text) for line, text in said if " " in text.strip() and _has_words(text)]
    reader = _Reader()
    reader.feed(source)
    return reader.found


def _slot(found: re.Match[str]) -> str:
    """`{name}` for an expression, by the last name of its first path."""
    path = re.search(r"[A-Za-z_][\w.]*", found[0])
    return f"{{{path[0].rpartition('.')[2] if path else 'words'}}}"


def _has_words(text: str) -> bool:
    return re.search(r"[A-Za-z]{2}", re.sub(r"\{\w*\}", "", text)) is not None


class _Reader(HTMLParser):
    """Takes the text between any two tags, and what a screen reader says of one."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[int, str]] = []
        self._silent = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._silent = tag in {"style", "script"}
        for name, value in attrs:
            if name in _READ and value:
                self._take(value)

    def handle_endtag(self, tag: str) -> None:
        self._silent = False

    def handle_data(self, data: str) -> None:
        if not self._silent:
            self._take(data)

    def _take(self, text: str) -> None:
        told = " ".join(text.split())
        if _has_words(told):
            self.found.append((self.getpos()[0], told))
