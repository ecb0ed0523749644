"""The first screen of each command for each shipped job: the answer in eight lines, all in 24, none beyond 80 columns.

The screens are kept in `tests/cli/screens/`, to be read as they stand. They are written anew by

    CIRCUMSTEP_WRITE_SCREENS=1 python -m pytest tests/cli/test_first_screens.py

What differs from run to run (ports, times, folders) is put into words in capitals.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import pytest

from firmware_host.cli.turn import demo, shared
from firmware_host.cli.turn.simulated_run import run_simulated
from firmware_host.clock import ScaledClock
from firmware_host.model import load_job
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.serving.serve import serve
from tests.cli import command
from tests.cli.conftest import Circumstep
from tests.reporting.shown import JOBS
from tests.support.kept import kept

SCREENS = Path(__file__).parent / "screens"
CLOCK = 10.0
MOST_LINES, ANSWER_LINES, WIDTH = 24, 8, 80
SEEN = ("segments", "limits", "motors")
TURNED = ("run", "demo")

#: What has to be found in the first eight lines of each.
ANSWERS = {
    "segments": (r"^\d+ segments, .* wide, ", r"^In focus: ", r"^Seams: ", r"prove it on the machine"),
    "limits": (
        r"^Verdict: \w+",
        r"^Tightest: [a-z-]+, .*margin\s+-?\d+ %",
        r"^An index takes ",
        r"prove it on the machine",
    ),
    "motors": (r"^\d+ of 10 motors can do it", r"^First choice: ", r"^The machine's own, ", r"prove it on the machine"),
    "run": (r"^\d+ segments", r"^Seams: ", r"^Verdict: \w+", r"^An index takes ", r"^done: (\d+) of \1 passes turned"),
    "demo": (r"^\d+ segments", r"^Seams: ", r"^Verdict: \w+", r"^An index takes ", r"^done: (\d+) of \1 passes marked"),
}


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "CLOCK_FACTOR", CLOCK)
    monkeypatch.setattr(shared, "_DRY_PASS_S", 0.05)
    monkeypatch.setattr(demo, "run_simulated", partial(run_simulated, pass_s=0.05))


@contextmanager
def board_for(job: str) -> Iterator[str]:
    """A simulated controller for the job's machine; gives its port."""
    clock = ScaledClock(CLOCK)
    with serve(simulated_device(load_job(job).machine, delivered=False, start_s=clock.monotonic()), clock) as server:
        yield server.url


def screen_of(circumstep: Circumstep, name: str, job: str) -> str:
    """What the command prints to standard output."""
    if name == "demo":
        ended = circumstep(name, job, "--clock", str(CLOCK))
    elif name == "run":
        with board_for(job) as port:
            ended = circumstep(name, job, "--port", port, "--without-marking", "--write-settings")
    else:
        ended = circumstep(name, job)
    assert ended.status == 0, ended.err
    return without_chance(ended.out)


def without_chance(text: str) -> str:
    """The text without what differs from run to run."""
    for pattern, word in (
        (r"socket://127\.0\.0\.1:\d+", "PORT"),
        (r"Record: .*", "Record: FOLDER/record.json"),
        (r"within 0\.\d\d of", "within 0.0N of"),
        (r"^(\S+\.toml):\s+\S+$", r"\1: FOLDER/\1"),  # a long path stands on a line of its own
        (r" +$", ""),
    ):
        text = re.sub(pattern, word, text, flags=re.MULTILINE)
    return text


CASES = [(name, job) for name in (*SEEN, *TURNED) for job in JOBS]


@pytest.mark.some(8)
@pytest.mark.parametrize(("name", "job"), CASES, ids=[f"{name}-{job}" for name, job in CASES])
def test_the_first_screen_has_the_answer_in_eight_lines_and_is_the_one_that_is_kept(
    circumstep: Circumstep, name: str, job: str
) -> None:
    screen = screen_of(circumstep, name, job)
    lines = screen.splitlines()
    assert len(lines) <= MOST_LINES
    assert max(map(len, lines)) <= WIDTH
    for answer in ANSWERS[name]:
        assert re.search(answer, "\n".join(lines[:ANSWER_LINES]), re.MULTILINE), answer
    assert screen == kept(SCREENS / f"{name}-{job}.txt", screen)


#: Further screens that are kept to be read: reasons, inches, a sweep, several jobs; of any length.
FURTHER = {
    "why-creep": ("limits", "tumbler-wrap", "--why", "creep"),
    "why-torque": ("limits", "heavy-shaft", "--why", "torque-accelerating"),
    "inch-segments": ("segments", "bottle-band", "--units", "inch"),
    "inch-limits": ("limits", "heavy-shaft", "--units", "inch"),
    "sweep-of-friction": ("limits", "tumbler-wrap", "--sweep", "drive.friction=0.1..0.5:5"),
    "several-jobs": ("limits", *JOBS),
    "moves-sleeve-label": ("moves", "sleeve-label"),
}


@pytest.mark.some(3)
@pytest.mark.parametrize("name", FURTHER)
def test_a_further_screen_is_the_one_that_is_kept_and_not_too_wide(circumstep: Circumstep, name: str) -> None:
    screen = without_chance(circumstep(*FURTHER[name]).out)
    assert max(map(len, screen.splitlines())) <= WIDTH
    assert screen == kept(SCREENS / f"{name}.txt", screen)


def test_no_screen_is_kept_that_no_command_shows() -> None:
    assert {path.stem for path in SCREENS.glob("*.txt")} == {f"{name}-{job}" for name, job in CASES} | set(FURTHER)
