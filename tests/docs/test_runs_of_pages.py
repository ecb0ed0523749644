"""What the pages beside README say of runs and batches is carried out each time, on a board in virtual time."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

import firmware_host.station.batch.opened  # noqa: F401  (its clock is put off with those of the others)
from tests.docs.day import Day
from tests.docs.pages import ROOT, blocks
from tests.docs.test_consoles import day as day
from tests.support.three_segments import JOB

PORT = "/dev/ttyUSB0"
BY_HAND, BY_PROGRAM = "by hand.toml", "with a program.toml"


@pytest.fixture
def bench(day: Day) -> Day:
    """A day whose board has the settings of the job, with a table of two parts and a program that marks."""
    Path(BY_HAND).write_text(JOB, encoding="utf-8")
    Path(BY_PROGRAM).write_text(JOB + '[gate]\nkind = "command"\ntimeout = "30 min"\n', encoding="utf-8")
    Path("parts.csv").write_text("serial,diameter\nA-001,49.99 mm\nA-002,49.98 mm\n", encoding="utf-8")
    Path("mark-one-pass").write_text("#!/bin/sh\n", encoding="utf-8")
    Path("mark-one-pass").chmod(0o755)
    return day


def turning(page: str) -> list[list[str]]:
    """The commands of a page's `sh` blocks that turn a part."""
    lines = [line for block in blocks(ROOT / page) if block.language == "sh" for line in block.text.splitlines()]
    return [words for words in map(shlex.split, lines) if words[1] in ("run", "resume") and "--rehearse" not in words]


@pytest.mark.posix("a program that is a script, and a device by its path")
@pytest.mark.parametrize("page", ["docs/pages/runs.md", "docs/pages/batch.md", "docs/pages/state.md"])
def test_the_runs_of_a_page_come_to_their_end(page: str, bench: Day) -> None:
    found = turning(page)
    assert found
    with bench.at_the_bench():
        bench.types(("circumstep", "controller", "settings", "write", BY_HAND, "--port", PORT), [])
        bench.types(("circumstep", "station", "new", "bench", "--machine", "belt-chuck", "--port", PORT), [])
        for words in found:
            meant = {"JOB": BY_PROGRAM if "--" in words else BY_HAND, "PORT": PORT}
            if words[1] == "resume":
                stop = "mark segment 2"
                bench.types(("circumstep", "run", BY_HAND, "--zero", "here"), [], ends=4, stops_at=stop)
                meant["runs/FOLDER"] = str(max(Path("runs").iterdir()))
            where = [] if words[1] == "resume" else ["--zero", "here"]  # the lines of a page are alternatives
            at = words.index("--") if "--" in words else len(words)
            told = bench.types(tuple(meant.get(each, each) for each in [*words[:at], *where, *words[at:]]), [])
            assert any(line.startswith("done: ") or "24 of 24" in line or "2 of 2" in line for line in told), told


@pytest.mark.posix("a device by its path")
def test_the_batch_in_python_does_what_the_page_says(bench: Day) -> None:
    (block,) = (each for each in blocks(ROOT / "docs" / "pages" / "batch.md") if each.language == "py")
    with bench.at_the_bench():
        bench.types(("circumstep", "controller", "settings", "write", "shaft-scale", "--port", PORT), [])
        told = bench.runs(block.text)
    parts = [line.split() for line in told if line.startswith("A-00")]
    assert [(serial, result) for serial, result, _ in parts] == [("A-001", "good"), ("A-002", "good")]
    assert "2 0" in told
