"""Processes that compute beside a program: the answers in order, what one raises, and none left however it ends."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import psutil
import pytest

from firmware_host.system.workers import processors

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    ("case", "said"),
    [
        ("squares", [0, 1, 4, 9, 16, 25, 36]),
        ("elsewhere", [False, False]),
        ("raised", "division by zero"),
        ("interrupted", "asked to end"),
    ],
    ids=["answers in order", "in two processes at most, none of them this one", "an error", "hours of work left"],
)
def test_the_answers_come_and_nobody_is_left(case: str, said: object) -> None:
    command = [sys.executable, "-m", "tests.system.spread_out", case]
    ended = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, encoding="utf-8", timeout=120)
    assert ended.returncode == 0, ended.stderr
    assert json.loads(ended.stdout) == {"said": said, "left": 0}


def test_where_the_program_is_killed_nobody_works_on() -> None:
    command = [sys.executable, "-m", "tests.system.spread_out", "killed"]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, cwd=ROOT, stdin=pipe, stdout=pipe, text=True, encoding="utf-8") as program:
        assert program.stdout is not None
        assert program.stdout.readline() == "at work\n"
        started = psutil.Process(program.pid).children(recursive=True)
        program.kill()
    _, alive = psutil.wait_procs(started, timeout=30)
    assert len(started) >= 2
    assert [each for each in alive if each.status() != psutil.STATUS_ZOMBIE] == []


def test_there_is_a_processor() -> None:
    assert processors() >= 1
