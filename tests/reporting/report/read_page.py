"""A page as a reader, a screen reader and a checker of tags see it."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

_EMPTY = {"meta", "img", "br", "link", "input", "hr"}


@dataclass
class Page(HTMLParser):
    """Tags in order with their attributes; `text`: everything outside of `style`; complains of tags out of place."""

    source: str
    tags: list[tuple[str, dict[str, str]]] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)
    open: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.feed(self.source)
        self.close()
        assert self.open == [], self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in _EMPTY:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, tag
        assert self.open.pop() == tag, f"</{tag}> out of place"

    def handle_data(self, data: str) -> None:
        if "style" not in self.open and data.strip():
            self.texts.append(" ".join(data.split()))

    @property
    def text(self) -> str:
        return "\n".join(self.texts)

    def all(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.tags if name == tag]
