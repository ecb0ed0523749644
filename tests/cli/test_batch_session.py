"""A batch of 24 at a real pseudo-terminal, kept in `tests/cli/sessions/batch.txt` to be read as it stands.

Two parts are redone, one is scrapped, the process is killed with SIGKILL in part 17, and the batch is resumed. It is
written anew by

    CIRCUMSTEP_WRITE_SCREENS=1 python -m pytest tests/cli/test_batch_session.py
"""

from __future__ import annotations

import json
import os
import re
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pexpect
import pytest

from firmware_host.clock import ScaledClock
from firmware_host.model import load_machine
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.serving.serve import serve
from tests.cli.command import CLOCK_FACTOR, COMMAND, PATIENCE_S, environment
from tests.cli.conftest import Circumstep
from tests.support.kept import kept

SESSION = Path(__file__).parent / "sessions" / "batch.txt"
PARTS = 24
KILLED, REDONE, SCRAPPED, MEASURED = 17, {5: "r 2", 12: "r 1-2 x1"}, 20, 9
CLOCK = 10.0
JOB = """
version = 1
name = "ring"
machine = "belt-chuck"

[part]
kind = "solid"
diameter = "50 mm"
length = "60 mm"
density = "7860 kg/m^3"

[mark]
arc = "20 mm"
width = "10 mm"

[window]
half_depth = "0.5 mm"

[segments]
count = 2

[index]
finish = "unwind"
settle = "0.1 s"
speed = "180 deg/s"
acceleration = "600 deg/s^2"

[gate]
kind = "command"
timeout = "600 s"
"""
GATE = """#!/bin/sh
echo "$CIRCUMSTEP_PART/$CIRCUMSTEP_PARTS $CIRCUMSTEP_SERIAL $CIRCUMSTEP_TEXT $CIRCUMSTEP_SEGMENT" >> marked.txt
if [ "$CIRCUMSTEP_PART-$CIRCUMSTEP_SEGMENT" = 17-2 ]; then
  while [ ! -e dead ]; do sleep 0.02; done
fi
"""

pytestmark = pytest.mark.posix("a pseudo-terminal and SIGKILL")


@contextmanager
def board() -> Iterator[str]:
    """A simulated controller; gives its port."""
    clock = ScaledClock(CLOCK)
    device = simulated_device(load_machine("belt-chuck"), delivered=False, start_s=clock.monotonic())
    with serve(device, clock, kind="socket") as server:
        yield server.url


class Session:
    """Commands at one terminal of 80 columns, and what a person there sees and types."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self._typed: pexpect.spawn[str]

    def start(self, *words: str) -> None:
        self.lines.append(f"$ circumstep {' '.join(words)}")
        program, *rest = (word.replace(f"ScaledClock({CLOCK_FACTOR})", f"ScaledClock({CLOCK})") for word in COMMAND)
        self._typed = pexpect.spawn(
            program,
            [*rest, *words],
            env=environment() | {"TERM": "dumb", "COLUMNS": "80"},  # type: ignore[arg-type]
            encoding="utf-8",
            dimensions=(24, 80),
            timeout=PATIENCE_S / 2,
            echo=False,
        )
        self._typed.delaybeforesend = None

    def answer(self, prompt: str, text: str) -> None:
        """Wait until this is asked, and type the answer."""
        self._see(prompt + r"[^\n]*\n")
        self.lines.append(f"[{text + ' ' if text else ''}Enter]")
        self._typed.send(f"{text}\r")

    def kill(self, dead: Path) -> None:
        """End it with SIGKILL, as if the power had gone; `dead` tells the gate's program, which is left behind."""
        os.kill(self._typed.pid, signal.SIGKILL)
        dead.touch()
        self._see(pexpect.EOF)
        self._typed.close()
        self.lines.append("[kill -9]")

    def end(self) -> int:
        """Wait for its end; its exit status."""
        self._see(pexpect.EOF)
        self._typed.close()
        return int(self._typed.exitstatus or 0)

    def _see(self, pattern: object) -> None:
        self._typed.expect(pattern)
        shown = str(self._typed.before) + (self._typed.after if isinstance(self._typed.after, str) else "")
        self.lines += [line.rstrip() for line in shown.replace("\r", "").split("\n") if line.strip()]


@pytest.fixture
def folder(home: Path) -> Path:
    """A folder with the job, a table of parts and the gate's program."""
    (home / "ring.toml").write_text(JOB, encoding="utf-8")
    rows = [f"A-{number:03d},{50 + (number % 5 - 2) / 100:.2f},No. {number}" for number in range(1, PARTS + 1)]
    (home / "parts.csv").write_text("serial,diameter mm,text\n" + "\n".join(rows) + "\n", encoding="utf-8")
    (home / "mark").write_text(GATE, encoding="utf-8")
    (home / "mark").chmod(0o755)
    return home


def one_part(session: Session, number: int) -> None:
    """Put a part in, and say what became of it."""
    put_in(session, number)
    if number in REDONE:
        session.answer("scrap; s stops", REDONE[number])
    session.answer("scrap; s stops", "scrap" if number == SCRAPPED else "")


def put_in(session: Session, number: int) -> None:
    session.answer("x leaves it out; s stops", "50.07 mm" if number == MEASURED else "")


def test_a_batch_of_24_with_two_redone_one_scrapped_and_a_kill_is_the_session_that_is_kept(
    folder: Path, circumstep: Circumstep
) -> None:
    session = Session()
    with board() as port:
        assert circumstep("controller", "settings", "write", "ring.toml", "--port", port).status == 0
        session.start("run", "ring.toml", "--parts", "parts.csv", "--port", port, "--", "./mark")
        for number in range(1, KILLED):
            one_part(session, number)
        put_in(session, KILLED)
        wait_for(folder / "marked.txt", f"{KILLED}/{PARTS} A-017 No. 17 2\n")
        session.kill(folder / "dead")
        (batch,) = (folder / "runs").iterdir()
        session.start("resume", f"runs/{batch.name}", "--", "./mark")
        session.answer("Is it still clamped", "")
        session.answer("Was segment 2, pass 1 finished", "n")
        session.answer("scrap; s stops", "")
        for number in range(KILLED + 1, PARTS + 1):
            one_part(session, number)
        assert session.end() == 0
    compare("\n".join(map(seen, session.lines)).replace(port, "PORT").replace(batch.name, "BATCH") + "\n")
    every_part_is_as_it_was_said(batch, folder)
    assert circumstep("runs", "verify", str(batch)).status == 0


def wait_for(path: Path, text: str) -> None:
    """Until the marking side has begun this pass; the gate is open then, and stays so."""
    clock = ScaledClock(1.0)
    end_s = clock.monotonic() + PATIENCE_S
    while not path.exists() or text not in path.read_text("utf-8"):
        assert clock.monotonic() < end_s, f"{text!r} was never told"
        clock.sleep(0.01)


def every_part_is_as_it_was_said(batch: Path, folder: Path) -> None:
    """The record, and what the marking side was told: each pass once, again where it was redone or had been cut off."""
    record = json.loads((batch / "batch.json").read_text("utf-8"))
    results = {part["part"]: part["result"] for part in record["parts"]}
    expected = dict.fromkeys(range(1, PARTS + 1), "good") | dict.fromkeys(REDONE, "redone") | {SCRAPPED: "scrapped"}
    assert results == expected
    assert record["parts"][MEASURED - 1]["diameter"] == "50.07 mm"
    told = (folder / "marked.txt").read_text("utf-8").splitlines()
    for number in range(1, PARTS + 1):
        for segment in (1, 2):
            more = (number == 5 and segment == 2) + (number == 12) + (number == KILLED and segment == 2)
            assert told.count(f"{number}/{PARTS} A-{number:03d} No. {number} {segment}") == 1 + more


def seen(line: str) -> str:
    """A line with what differs from time to time put into words in capitals."""
    line = re.sub(r"at about \d\d:\d\d", "at about HH:MM", line)
    line = re.sub(r"\d{4}-\d\d-\d\dT[\d:.]+\+00:00", "TIME", line)
    if re.match(r" *\d+  ", line):  # a row of the table: how long it took differs
        return re.sub(r"(  \d+\.\d)*  part-", "  TIMES  part-", re.sub(r"   *", "  ", line.strip()))
    return re.sub(r"   *", "  ", line) if line.startswith("part") else line


def compare(text: str) -> None:
    assert text == kept(SESSION, text)
    assert max(map(len, text.splitlines())) <= 80
