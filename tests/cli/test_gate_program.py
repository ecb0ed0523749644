"""The program of a gate, in a run that is a process of its own: gone, with all that it started, when the run ends."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest

from firmware_host.clock import SystemClock
from firmware_host.system.console import command_line
from tests.cli.command import PATIENCE_S, Program
from tests.support import ending_signals
from tests.support.three_segments import JOB

LONG = "import time; time.sleep(600)"
WITH_A_CHILD = (
    "import os, subprocess, sys, time;"
    f"child = subprocess.Popen([sys.executable, '-c', {LONG!r}]);"
    "open(sys.argv[1], 'w').write(str(os.getpid()) + ' ' + str(child.pid) + chr(10));"
    "time.sleep(600)"
)


@pytest.fixture
def port() -> Iterator[str]:
    with Program("controller", "simulate", "--kind", "socket", "--clock", "20") as board:
        yield board.wait_for("out", "\n").strip()


def numbers_in(path: Path) -> list[int]:
    """The processes that are noted there, once they are."""
    clock = SystemClock()
    give_up_s = clock.monotonic() + PATIENCE_S
    while not (path.exists() and path.read_text("utf-8").endswith("\n")):
        assert clock.monotonic() < give_up_s, "the program was not started"
        clock.sleep(0.02)
    return [int(number) for number in path.read_text("utf-8").split()]


@pytest.mark.parametrize(("number", "reason"), ending_signals.ALL)
def test_a_run_that_is_asked_to_end_ends_its_program_with_all_that_it_started(
    number: signal.Signals, reason: str, port: str, tmp_path: Path
) -> None:
    (tmp_path / "job.toml").write_text(JOB + '[gate]\nkind = "command"\ntimeout = "60 s"\n', encoding="utf-8")
    told = tmp_path / "told of itself"
    program = command_line([sys.executable, "-c", WITH_A_CHILD, str(told)])
    with Program("run", str(tmp_path / "job.toml"), "--port", port, "--gate-program", program) as run:
        started = [psutil.Process(number) for number in numbers_in(told)]
        run.send(number)
        ended = run.end()
    assert len(started) == 2
    assert ended.status == 4, ended.err
    assert f"error: stopped ({reason})" in ended.err
    assert psutil.wait_procs(started, timeout=PATIENCE_S)[1] == []
