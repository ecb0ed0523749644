"""Every fenced block of README and docs is carried out, checked, or stands on a short list with the reason why not."""

from __future__ import annotations

import csv
import json
import re
import shlex
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import firmware_host as fh
from firmware_host.model.files.stations import StationsFile
from tests.docs import test_consoles
from tests.docs.pages import PAGES, ROOT, Block, blocks
from tests.test_docs import PYTHON_BLOCKS, RUN_ELSEWHERE, check_words

BLOCKS = [block for page in PAGES for block in blocks(page)]

#: Lines of `sh` blocks that the tests of the pages do not carry out, with who does.
OTHER_LINES = {
    "python3 -m venv .venv && .venv/bin/pip install -q . && .venv/bin/circumstep demo": "tests/test_wheel.py",
    "python3 -m venv .venv-test && .venv-test/bin/pip install -q -e '.[dev]' && .venv-test/bin/python tests/verify.py":
        ".ci/run",
    "python3 -m venv .venv && .venv/bin/pip install -e '.[dev]'": ".ci/run",
    ".venv/bin/python tests/verify.py": ".ci/run",
    ".venv/bin/python docs/messages.py messages.pot": "tests/docs/test_messages.py",
    ".venv/bin/python -m mkdocs build --strict -f docs/mkdocs.yml": "tests/verify.py",
    "CIRCUMSTEP_TEST_SYSTEM=windows .venv/bin/python -m pytest -q --hypothesis-profile=ci -n 3 --dist worksteal":
        "tests/verify.py",
}  # fmt: skip

#: Blocks of text that no command prints word for word, with the reason.
TEXTS = {
    "DEVELOPERS.md": "the way of the data, in words: no command prints it",
    "docs/pages/your-board.md": "compared with the records of the boards in tests/reporting/test_capability_tables.py",
    "docs/pages/jog.md": "commands side by side with what they are for: their words are checked here",
}


def with_tables(tables: dict[str, Any]) -> None:
    """A piece of a job or a machine is taken, in a shipped job whose other keys it leaves as they are."""
    (shipped,) = (each for each in fh.list_profiles("jobs") if each.name == "shaft-scale")
    job = tomllib.loads(Path(shipped.path).read_text(encoding="utf-8"))
    for key, value in tables.items():
        job[key] = {**job[key], **value} if isinstance(job.get(key), dict) and key != "gate" else value
    fh.job_from(job, folder=shipped.path.parent)


def as_machine(tables: dict[str, Any]) -> None:
    known = fh.schema("machine")["properties"]
    assert set(tables) <= set(known)
    setup = fh.load_job("shaft-scale")
    keys = {f"{table}.{key}": value for table, values in tables.items() for key, value in values.items()}
    assert keys
    setup.with_values(keys)


def as_project(tables: dict[str, Any]) -> None:
    groups = tables["project"]["entry-points"]
    assert set(groups) <= {"firmware_host.gates", "firmware_host.dialects"}
    assert all(re.fullmatch(r"\w+:\w+", target) for group in groups.values() for target in group.values())


#: By the first key: who takes such a piece.
READERS: dict[str, Callable[[dict[str, Any]], object]] = {
    "gate": with_tables,
    "part": with_tables,
    "accept": with_tables,
    "axis": as_machine,
    "project": as_project,
    "version": lambda tables: StationsFile.model_validate(tables),
}


@pytest.mark.parametrize(
    "block", [b for b in BLOCKS if b.language == "toml"], ids=lambda block: f"{block.name}-{block.start}"
)
def test_a_piece_of_a_file_is_taken_by_the_loader(block: Block) -> None:
    tables = tomllib.loads(block.text)
    READERS[next(iter(tables))](tables)


@pytest.mark.parametrize("block", [b for b in BLOCKS if b.language == "sh"], ids=lambda b: f"{b.name}-{b.start}")
def test_every_line_of_a_block_of_commands_is_one_that_is_carried_out(block: Block) -> None:
    for line in block.text.splitlines():
        if line not in OTHER_LINES:
            assert line.startswith(("circumstep ", "sed ")), line


def test_the_lines_that_others_carry_out_stand_where_those_read_them() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert all(line in readme for line in OTHER_LINES if "venv" in line and "&&" in line and "-q" in line)
    assert "python3 -m venv" in ci
    assert "tests/verify.py" in next(line for line in OTHER_LINES if "venv-test" in line)
    assert "CIRCUMSTEP_TEST_SYSTEM" in (ROOT / "tests" / "verify.py").read_text(encoding="utf-8")


def test_windows_gets_the_same_commands_in_its_own_shell() -> None:
    """README's two blocks for PowerShell are its two commands, with Windows' own paths."""
    (demo, verify) = (block.text.split() for block in BLOCKS if block.language == "powershell")
    lines = [line.split(" && ") for line in OTHER_LINES if "-q" in line and "&&" in line]
    for block, commands in zip((demo, verify), lines, strict=True):
        there = " ".join(commands).replace("python3 ", "python ").replace("bin/", "Scripts/").replace("/", "\\")
        assert [word.removeprefix(".\\") for word in block] == there.split()


def test_a_table_of_parts_and_a_state_are_what_the_program_takes_and_gives() -> None:
    (table,) = (block for block in BLOCKS if block.language == "csv")
    rows = list(csv.DictReader(table.text.splitlines()))
    assert [row["diameter mm"] for row in rows] == ["50.02", "49.97"]
    (state,) = (block for block in BLOCKS if block.language == "json")
    schema = json.loads((ROOT / "docs" / "pages" / "state.schema.json").read_text(encoding="utf-8"))
    assert set(json.loads(state.text)) == set(schema["properties"])


def test_the_words_of_commands_in_a_text_are_those_of_the_command_line() -> None:
    (text,) = (block for block in BLOCKS if block.name == "docs/pages/jog.md" and block.language == "text")
    for line in text.text.splitlines():
        check_words(shlex.split(re.split(r"\s{2,}", line)[0])[1:])


def how_it_is_checked(block: Block, before: Block | None) -> str:
    """What checks a block; "" for none."""
    python = {(each.name, each.text) for each in PYTHON_BLOCKS}
    by_language = {
        "sh": "tests/test_docs.py",
        "toml": "the loader",
        "powershell": "beside the sh block",
        "csv": "its columns",
        "json": "the schema",
        "py": "tests/docs/test_runs_of_pages.py",
    }
    if block.language == "console":
        return "carried out" if block.page in test_consoles.CONSOLES else test_consoles.ELSEWHERE.get(block.name, "")
    if block.language in ("python", "bash"):
        return "run" if (block.name, block.text) in python else RUN_ELSEWHERE.get(block.name, "")
    if block.language == "text":
        compared = before is not None and before.language == "sh"
        return "compared with what the block before it prints" if compared else TEXTS.get(block.name, "")
    return by_language.get(block.language, "")


@pytest.mark.parametrize("page", [page for page in PAGES if blocks(page)], ids=lambda page: str(page.relative_to(ROOT)))
def test_no_block_goes_unchecked(page: Path) -> None:
    found = blocks(page)
    unchecked = [
        f"{block.language or 'no language'}: {block.text[:60]}"
        for block, before in zip(found, [None, *found], strict=False)
        if not how_it_is_checked(block, before)
    ]
    assert unchecked == []


def test_every_page_on_the_list_of_texts_has_one() -> None:
    assert {block.name for block in BLOCKS if block.language == "text"} >= set(TEXTS)
