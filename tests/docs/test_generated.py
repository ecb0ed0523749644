"""Lists and pictures that the site is built with: nothing of the code is missing on a page, nothing is kept twice."""

from __future__ import annotations

import importlib.util
import re
import sys
from pathlib import Path
from types import ModuleType

import pytest

import firmware_host as fh
from firmware_host import errors
from firmware_host.reporting.pictures.registry import PICTURES
from tests.docs.pages import PAGES, ROOT
from tests.test_docs import LEAVES


def hook(name: str) -> ModuleType:
    """A hook of the site, loaded as mkdocs does: its folder is where it finds the files beside it."""
    spec = importlib.util.spec_from_file_location(f"docs_{name}", ROOT / "docs" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = sys.modules[spec.name] = importlib.util.module_from_spec(spec)
    sys.path.insert(0, str(ROOT / "docs"))
    try:
        spec.loader.exec_module(module)
    finally:
        sys.path.remove(str(ROOT / "docs"))
    return module


@pytest.fixture(scope="module")
def listing() -> ModuleType:
    return hook("listing")


@pytest.fixture(scope="module")
def pictures() -> ModuleType:
    return hook("pictures")


def test_every_option_of_every_command_is_listed_with_what_it_is_for(listing: ModuleType) -> None:
    sections = dict(part.split("\n", 1) for part in listing.options().split("## ")[1:])
    assert set(sections) == {" ".join(path) for path in LEAVES}
    for path, node in LEAVES.items():
        for param in node.params:
            for option in param.opts:
                if option.startswith("--") and option != "--help" and not getattr(param, "hidden", False):
                    row = re.search(rf"^\| [^|]*`{option}[ `].*$", sections[" ".join(path)], re.MULTILINE)
                    assert row is not None, f"{' '.join(path)} {option}"
                    assert row[0].split("|")[2].strip(), f"{' '.join(path)} {option} says nothing"


def test_every_public_name_is_listed_with_its_words(listing: ModuleType) -> None:
    sections = dict(part.split("\n", 1) for part in listing.api().split("### ")[1:])
    assert {name.strip("`") for name in sections} == set(fh.__all__)
    for name, text in sections.items():
        words = re.sub(r"```.*?```", "", text.partition("\n## ")[0], flags=re.DOTALL)
        assert len(words.split()) > 3, f"{name} says nothing of itself"
        assert " at 0x" not in text


def test_every_error_is_listed_with_an_example_of_its_own_and_a_fix(listing: ModuleType) -> None:
    told = listing.every_error()
    kinds = [each for each in vars(errors).values() if isinstance(each, type) and issubclass(each, Exception)]
    assert {each.name for each in told} == {kind.__name__ for kind in kinds} - {"FirmwareHostError"}
    examples = {kind: fault.example for kind, fault in listing.FAULTS.items()}
    assert [kind.__name__ for kind, example in examples.items() if type(example) is not kind] == []
    assert len({each.message for each in told}) == len({each.fix for each in told}) == len(told)


def test_the_commands_that_a_fix_names_are_there(listing: ModuleType) -> None:
    named = re.findall(r"`circumstep ([a-z ]+)", " ".join(each.fix for each in listing.every_error()))
    assert len(named) > 8
    known = {" ".join(path) for path in LEAVES}
    assert [words for words in named if words.strip() not in known] == []


def test_every_picture_of_a_job_is_shown_on_a_page_and_none_is_kept(pictures: ModuleType) -> None:
    asked = {each for page in PAGES for each in pictures.asked_for(page.read_text(encoding="utf-8"))}
    assert {key for key, _, _ in asked} >= {each.key for each in PICTURES} - {"wrong-numbers"}
    made = {Path(pictures.place(*each)).name for each in asked}
    assert [path for path in (ROOT / "docs").rglob("*") if path.name in made] == []


def test_a_drawing_is_asked_for_that_is_there_and_says_in_words_what_it_shows(pictures: ModuleType) -> None:
    asked = {found[1] for page in PAGES for found in pictures.DRAWING.finditer(page.read_text(encoding="utf-8"))}
    assert asked == set(pictures.DRAWINGS)
    for drawing in pictures.DRAWINGS.values():
        labels = re.findall(r'role="img" aria-label="([^"]+)"', drawing())
        assert labels
        assert all(len(label.split()) > 15 for label in labels)
