"""No word of a file reaches the wire but the numbers that the planner made of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from firmware_host.model import Job, Machine, Setup, load_job
from tests.support.numbered_bench import NumberedBench
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS
from tests.support.station_bench import StationBench, quick_disk, small_setup
from tests.support.three_segments import JOB

WORDS = "!~?\x18 M112\nG0 A999 F9000\n$X ; (G1 A500) * N1 M410"


def renamed(setup: Setup) -> Setup:
    """The setup with words of both languages in every name that it has."""
    job = setup.job.model_dump(mode="json", exclude_none=True) | {"name": WORDS}
    machine = setup.machine.model_dump(mode="json", exclude_none=True) | {"name": WORDS}
    machine["motor"] |= {"name": WORDS}
    machine["gearing"] = [stage | {"name": f"{WORDS[:50]} {number}"} for number, stage in enumerate(machine["gearing"])]
    return replace(setup, job=Job.model_validate(job), machine=Machine.model_validate(machine))


@pytest.mark.parametrize("dialect", ["status-query", "numbered-line"])
def test_a_run_says_the_same_bytes_whatever_things_are_called(
    dialect: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick_disk(monkeypatch)
    sent = []
    for number, setup in enumerate((small_setup(), renamed(small_setup()))):
        folder = tmp_path / str(number)
        folder.mkdir()
        bench = (
            StationBench(folder, setup)
            if dialect == "status-query"
            else NumberedBench(folder, setup, NUMBERED_LINE_BOARDS["plain"])
        )
        assert bench.run().outcome == "done"
        sent.append(bench.port.sent)
        assert (WORDS in bench.setup.machine.name) == bool(number)
    assert sent[0] == sent[1]
    assert b"A999" not in sent[1]


def test_a_comment_of_a_file_is_no_part_of_what_is_planned(tmp_path: Path) -> None:
    commented = "".join(f"{line} # {WORDS.splitlines()[1]}\n" for line in JOB.splitlines())
    jobs = []
    for name, text in (("plain.toml", JOB), ("commented.toml", commented)):
        (tmp_path / name).write_text(text, encoding="utf-8")
        jobs.append(load_job(str(tmp_path / name)))
    assert jobs[0].job == jobs[1].job
    assert WORDS.splitlines()[1] not in repr(jobs[1])
