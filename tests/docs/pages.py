"""The fenced blocks of the pages, and the commands with their outputs that a console block shows."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs" / "pages").rglob("*.md"))]
_BLOCK = re.compile(r"^( *)```([\w-]*)[^\n]*\n(.*?)^ *```$", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Block:
    """A fenced block. `language` is "" where none is said; `start`: where its text begins in the page."""

    page: Path
    language: str
    text: str
    start: int

    @property
    def name(self) -> str:
        """The page, from the top of the tree."""
        return str(self.page.relative_to(ROOT))


@dataclass(frozen=True)
class Shown:
    """A command that a console block shows, and the lines that follow it; those that begin with "> " were typed."""

    words: tuple[str, ...]
    lines: tuple[str, ...]
    start: int
    end: int
    """Where its lines stand in the page."""

    @property
    def typed(self) -> list[str]:
        """What was typed while it ran, one answer after the other."""
        return [line[2:] for line in self.lines if line.startswith("> ")]


def blocks(page: Path) -> list[Block]:
    """All fenced blocks of a page."""
    found = _BLOCK.finditer(page.read_text(encoding="utf-8"))
    return [Block(page, each[2], each[3], each.start(3)) for each in found]


def shown(block: Block) -> Iterator[Shown]:
    """The commands of a console block, which begin with "$ "; a line that ends in a backslash goes on."""
    at = block.start
    begun: tuple[str, int] | None = None
    lines: list[str] = []
    for line in block.text.splitlines(keepends=True):
        if line.startswith("$ "):
            if begun is not None:
                yield _one(*begun, lines, at)
            begun, lines = (line[2:], at + len(line)), []
        elif begun is not None and begun[0].endswith("\\\n"):
            begun = (begun[0][:-2] + line, at + len(line))
        else:
            assert begun is not None, f"{block.name}: a console block begins with a command, not {line!r}"
            lines.append(line.rstrip("\n"))
        at += len(line)
    if begun is not None:
        yield _one(*begun, lines, at)


def _one(command: str, start: int, lines: list[str], end: int) -> Shown:
    while lines and not lines[-1]:
        end -= 1
        lines.pop()
    return Shown(tuple(shlex.split(command)), tuple(lines), start, end)


def matches(expected: tuple[str, ...], printed: list[str]) -> bool:
    """Whether the lines are those printed; a line "..." stands for any lines, "..." at an end for more of a line."""
    pieces: list[list[str]] = [[]]
    for line in expected:
        if line.strip() == "...":
            pieces.append([])
        else:
            pieces[-1].append(line)
    at = 0
    for number, piece in enumerate(pieces):
        places = [0] if number == 0 else range(at, len(printed) - len(piece) + 1)
        if number == len(pieces) - 1:
            places = [each for each in places if each + len(piece) == len(printed)] or [-1]
        found = next((each for each in places if each >= 0 and _alike(piece, printed[each : each + len(piece)])), None)
        if found is None:
            return False
        at = found + len(piece)
    return True


def _alike(piece: list[str], printed: list[str]) -> bool:
    return len(piece) == len(printed) and all(
        there.startswith(line[:-3].rstrip()) if line.endswith("...") else line.rstrip() == there.rstrip()
        for line, there in zip(piece, printed, strict=True)
    )
