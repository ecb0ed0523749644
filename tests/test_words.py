"""One word for each thing: what DEVELOPERS.md retires is in no sentence, help text or name any more."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from firmware_host.cli.main import app
from tests.cli.whole import every_command

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = sorted((ROOT / "firmware_host").rglob("*.py"))
PAGES = sorted([ROOT / "README.md", *(ROOT / "docs" / "pages").rglob("*.md")])

#: What a person would have read or typed before, as a pattern; what is written instead stands in DEVELOPERS.md.
RETIRED = {
    "sureness": r"\bsure(ness)?\b",
    "held": (
        r"\b(is|are|was|as|were|be|what|scale|settings?) held\b|"
        r"\bheld (scale|settings?|rate|acceleration|value|steps)\b"
    ),
    "at rest": r"\bat rest\b|\brest proof\b|\bproofs? of rest\b",
    "outlook": r"\boutlooks?\b",
    "whereabouts": r"\bwhereabouts\b",
    "noting": r"\bnoting\b",
    "abilities": r"\babilit(y|ies)\b",
    "member": r"\bmembers?\b",
    "go on": r"\b(go|goes|going|went|gone) on\b(?! the\b)",
    "story": r"\b(story|stories|tellers?)\b",
    "winding": r"\bwindings?\b",
    "profile": r"\b(speed|velocity|motion) profiles?\b",
    "overrun": r"\boverruns?\b",
    "awkward": (
        r"what is told behind|was to be set anew|stop talking|no range of a key|with settings as delivered|"
        r"which was not done|\bit hangs on\b|datum that hangs"
    ),
}

#: Where a retired word is the right one: (its name above, pattern of the file, pattern of the line).
RIGHT = (
    ("sureness", r"cli/see/limits\.py$|CHANGELOG\.md$", r"--sure\b"),
    ("sureness", r"", r"\b(make|makes|made|be|is) sure\b"),
    ("winding", r"mechanics/motor/|planning/(load|assume|limits/motor|index)/|model/machine/(motor|warming)\.py$", r""),
    ("winding", r"commissioning/procedures/motor/|commissioning/estimates/warming\.py$|commissioning.*\.md$", r""),
    ("winding", r"simulator/true_machine/(heat|description)\.py$", r""),
    ("winding", r"planning/compare/|assumed\.md$|decisions/0010|physics/(motor|heat|index-move)\.md$", r""),
    ("overrun", r"planning/route/|planning/layout/lost_motion|station/|reporting/", r""),
    ("profile", r"route/velocity\.py$|physics/index-move\.md$", r"Generate stepper-motor"),
    ("at rest", r"station/journal/|station/runs/verify", r"at[-_]rest"),
    ("overrun", r"docs/pages/runs\.md$", r"`overrun`"),
)

#: Whole identifiers, split at underscores and capitals.
RETIRED_NAMES = (
    {"sureness", "outlook", "whereabouts", "noting", "abilities", "members", "story", "teller", "tellers", "held"},
    {("at", "rest"), ("go", "on"), ("rest", "proof"), ("speed", "profile")},
)
RIGHT_NAMES = {"drop_held_motion"}


def sentences(path: Path) -> Iterator[tuple[int, str]]:
    """Every line of a page, or every text and comment of a source file, with its line number."""
    text = path.read_text(encoding="utf-8")
    if path.suffix != ".py":
        yield from enumerate(text.splitlines(), 1)
        return
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            for offset, line in enumerate(node.value.splitlines()):
                yield node.lineno + offset, line
    for number, line in enumerate(text.splitlines(), 1):
        if (comment := re.search(r"(?:^|\s)#:? (.*)", line)) is not None:
            yield number, comment.group(1)


def found_in(path: Path) -> Iterator[str]:
    name = path.relative_to(ROOT).as_posix()
    for number, line in sentences(path):
        for word, pattern in RETIRED.items():
            if re.search(pattern, line, re.IGNORECASE) and not any(
                word == right and re.search(file, name) and re.search(where, line, re.IGNORECASE)
                for right, file, where in RIGHT
            ):
                yield f"{name}:{number}: {word}: {line.strip()[:100]}"


def test_no_retired_word_is_in_a_sentence_of_the_package() -> None:
    assert [hit for path in PACKAGE for hit in found_in(path)] == []


def test_no_retired_word_is_in_the_docs() -> None:
    assert [hit for path in PAGES for hit in found_in(path)] == []


def command_lines(group: Any, words: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    yield words
    for name, child in getattr(group, "commands", {}).items():
        yield from command_lines(child, (*words, name))


def test_no_retired_word_is_in_a_help_text() -> None:
    for words in command_lines(every_command()):
        shown = " ".join(CliRunner().invoke(app, [*words, "--help"]).output.split())
        assert "Usage:" in shown, words
        for word, pattern in RETIRED.items():
            assert not re.search(pattern, shown, re.IGNORECASE), f"{words}: {word}"


def names_of(tree: ast.AST) -> Iterator[tuple[int, str]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.lineno, node.name
        elif isinstance(node, ast.arg):
            yield node.lineno, node.arg
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.lineno, node.id
        elif isinstance(node, ast.Attribute):
            yield node.lineno, node.attr


def parts(name: str) -> list[str]:
    return [part.lower() for part in re.findall(r"[A-Z]?[a-z0-9]+|[A-Z]+(?![a-z])", name)]


def test_no_retired_word_is_a_name() -> None:
    single, pairs = RETIRED_NAMES
    hits = []
    for path in PACKAGE:
        for line, name in names_of(ast.parse(path.read_text(encoding="utf-8"))):
            words = parts(name)
            if name not in RIGHT_NAMES and (single & set(words) or pairs & set(pairwise(words))):
                hits.append(f"{path.relative_to(ROOT)}:{line}: {name}")
    assert hits == []


def test_the_word_list_of_the_developers_page_names_every_retired_word() -> None:
    rows = re.findall(r"^\| ([^|]+?) \| [^|]+ \|$", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"), re.MULTILINE)
    listed = " ".join(rows)
    for word in RETIRED.keys() - {"awkward"}:
        assert word in listed, word


@pytest.mark.parametrize(
    ("line", "word"),
    [
        ("the axis is at rest", "at rest"),
        ("the run goes on", "go on"),
        ("the settings that are held", "held"),
        ("how sure it is", "sureness"),
        ("members of the family", "member"),
    ],
    ids=["rest", "go on", "held", "sure", "member"],
)
def test_the_patterns_find_what_they_are_for(line: str, word: str) -> None:
    assert re.search(RETIRED[word], line)
