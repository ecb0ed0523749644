"""Processes that compute beside a program: the answers in order, what one raises, and none left however it ends."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

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


def test_there_is_a_processor() -> None:
    assert processors() >= 1
