"""A first day of each of the three users at a terminal of 80 columns, whole, kept in `tests/cli/sessions/` to be read.

Each begins with nothing but the program and a controller at a port, and ends with what that user came for. The sessions
are written anew by

    CIRCUMSTEP_WRITE_SCREENS=1 python -m pytest tests/cli/test_first_days.py
"""

from __future__ import annotations

import io
import json
import re
import shlex
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path

import pytest

from firmware_host.cli import main
from firmware_host.cli.turn import shared
from firmware_host.clock import ScaledClock
from firmware_host.folders import shipped_folder
from firmware_host.model import load_machine
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.serving.serve import serve
from tests.cli import command
from tests.cli.command import CLOCK_FACTOR as OF_PROGRAMS
from tests.cli.command import quickened, typed
from tests.support.kept import kept

SESSIONS = Path(__file__).parent / "sessions"
CLOCK = 10.0
MARK = "STANDSTILL: mark segment {} of 13"

pytestmark = pytest.mark.posix("a pseudo-terminal")


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "CLOCK_FACTOR", CLOCK)
    monkeypatch.setattr(shared, "_DRY_PASS_S", 0.05)


@pytest.fixture(autouse=True)
def bench(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder of the user's own whose path is as long each time, so that lines break where they are kept."""
    with tempfile.TemporaryDirectory(dir="/tmp", prefix="day-") as folder:
        home = Path(folder)
        for name in ("config", "state", "run"):
            (home / name).mkdir(mode=0o700)
        for variable, name in (("CONFIG_HOME", "config"), ("STATE_HOME", "state"), ("RUNTIME_DIR", "run")):
            monkeypatch.setenv(f"XDG_{variable}", str(home / name))
        monkeypatch.chdir(home)
        yield home


class Day:
    """The commands of a day, one after another, with what the person saw and pressed."""

    def __init__(self, home: Path, port: str = "") -> None:
        self._home, self.port = home, port
        self.transcript: list[str] = []

    def types(self, *words: str, ends: int = 0) -> str:
        """Type a command; what it printed."""
        told = io.StringIO()
        with quickened(), typed(""), redirect_stdout(told), redirect_stderr(told):
            status = main.run(list(words))
        assert status == ends, told.getvalue()
        self.transcript += [shlex.join(["$", "circumstep", *words]).replace("'$'", "$"), told.getvalue()]
        return told.getvalue()

    def works(self, *words: str, presses: tuple[tuple[str, str], ...], ends: int = 0, run: bool = True) -> None:
        """Type a command at a terminal, and press each key of `presses` once what goes with it stands there.

        `run`: it draws its last lines anew all the time.
        """
        from tests.support.screen import Screen
        from tests.support.terminal import Terminal

        with Screen(*words) if run else Terminal(*words) as screen:
            for shown, key in presses:
                screen.wait(shown)
                screen.press(*key.split())
            status = screen.end()
        self.transcript += [*screen.transcript, ""]
        assert status == ends, screen.transcript

    def compare(self, name: str) -> None:
        """With the session that is kept; what differs from day to day is put into words in capitals."""
        text = "\n".join(self.transcript)
        for pattern, word in (
            (r"socket://127\.0\.0\.1:\d{5}(?=  )", f"{'PORT':22}"),
            (r"socket://127\.0\.0\.1:\d{5}", "PORT"),
            (r"(-\d+){4}-\d{5}\b", "-PORT"),
            (re.escape(str(self._home)), "HOME"),
            (re.escape(str(shipped_folder())), "SHIPPED"),
            (r":\n +SHIPPED", ": SHIPPED"),  # a long path stands on a line of its own
            (r"\d{8}-\d{6}", "YYYYMMDD-HHMMSS"),
            (r"\d{4}-\d\d-\d\d[T ][\d:.]+(\+00:00|Z)?", "DATE AND TIME"),
            (r"done at [A-Za-z\d: ]*?\d\d:\d\d", "done at TIME OF DAY"),
            (r"about \d+ s left", "about TIME left"),
            (r"time left is not known yet", "about TIME left"),
            (r"(\[n Enter\]\n)n?\n", r"\1\n"),  # the terminal's own echo, on or already off
            (r"An answer takes: [\d.]+ ms", "An answer takes: SOME TIME"),
        ):
            text = re.sub(pattern, word, text)
        wide = [line for line in text.splitlines() if len(line) > 80 and "circumstep " not in line]
        assert not wide
        assert text == kept(SESSIONS / f"{name}.txt", text)


@contextmanager
def board(machine: str) -> Iterator[str]:
    """A simulated controller as it was delivered; gives its port."""
    clock = ScaledClock(CLOCK)
    device = simulated_device(load_machine(machine), delivered=True, start_s=clock.monotonic())
    device.make_moves_last(CLOCK / OF_PROGRAMS)  # a run times them
    with serve(device, clock) as server:
        yield server.url


def test_the_integrator_describes_a_machine_keeps_its_port_fits_the_settings_and_turns_a_part(bench: Path) -> None:
    with board("belt-chuck") as port:
        day = Day(bench, port)
        day.types("profile", "new", "machine", "my-rotary", "--from", "belt-chuck")
        day.types("profile", "new", "job", "my-job.toml", "--from", "shaft-scale", "--machine", "my-rotary")
        day.types("profile", "check", "machine", "my-rotary")
        assert "status-query" in day.types("controller", "find", "--port", day.port, "--yes")
        day.types("station", "new", "bench", "--machine", "my-rotary", "--port", day.port)
        day.types("controller", "show")
        day.types("controller", "settings", "compare", "my-job", ends=1)
        day.types("controller", "settings", "write", "my-job")
        day.types("controller", "settings", "compare", "my-job")
        day.types("limits", "my-job")
        day.types("jog", "my-job", "--by", "15 deg")
        day.types("jog", "my-job", "--to", "0 deg")
        day.types("run", "my-job", "--without-marking")
        day.types("runs", "list")
    (record,) = (json.loads(path.read_text("utf-8")) for path in bench.glob("runs/*/record.json"))
    assert (record["outcome"], record["marking"]) == ("done", False)
    assert all(round(each["reported_microstep"]) == each["planned_microstep"] for each in record["passes"])
    day.compare("first-day-integrator")


def test_the_maker_marks_a_bottle_stops_for_a_look_and_resumes(bench: Path) -> None:
    with board("two-rollers") as port:
        day = Day(bench, port)
        day.types("profile", "new", "machine", "my-rollers", "--from", "two-rollers")
        day.types("profile", "new", "job", "my-bottle.toml", "--from", "bottle-band", "--machine", "my-rollers")
        day.types("segments", "my-bottle")
        day.types("segments", "my-bottle", "--true-diameter", "79.4 mm")
        day.types("segments", "my-bottle", "--card")
        day.types("time", "my-bottle", "--pass", "12 s")
        day.types("station", "new", "laser", "--machine", "my-rollers", "--port", day.port)
        day.works(
            *("align", "my-bottle", "--write-settings"),
            presses=(
                (r"STILL +\+0.000 deg", "right"),
                (r"STILL +\+1[45][.\d]+ deg", "Enter"),
                ("or Escape: ", "1"),
            ),
            run=False,
        )
        marked = tuple((MARK.format(segment), "Enter") for segment in (1, 2, 3))
        day.works("run", "my-bottle", presses=(*marked, (MARK.format(4), "s")), ends=4)
        (folder,) = Path("runs").iterdir()
        day.types("runs", "show", str(folder))
        day.works(
            *("resume", str(folder)),
            presses=(("y or n, then Enter", "n Enter"), *((MARK.format(segment), "Enter") for segment in range(4, 14))),
        )
    lines = [json.loads(line) for line in (folder / "journal.jsonl").read_text("utf-8").splitlines()]
    done = [line["segment"] for line in lines if line["event"] == "pass-done"]
    assert done == list(range(1, 14))
    day.compare("first-day-maker")


def test_the_engineer_asks_whether_a_motor_turns_a_heavy_shaft_and_why(bench: Path) -> None:
    day = Day(bench)
    day.types("limits", "heavy-shaft")
    day.types("limits", "heavy-shaft", "--why", "mid-range")
    day.types("limits", "heavy-shaft", "--reliability")
    day.types("limits", "heavy-shaft", "--sweep", "driver.current=3A..5A:3")
    day.types("limits", "heavy-shaft", "shaft-scale", "sleeve-label")
    day.types("motors", "heavy-shaft")
    day.types("run", "heavy-shaft", "--rehearse")
    day.types("moves", "heavy-shaft", "--format", "rs274", "--output", "heavy-shaft.rs274")
    assert Path("heavy-shaft.rs274").stat().st_size > 100
    day.compare("first-day-engineer")
