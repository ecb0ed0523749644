"""A hand on the axis at a real pseudo-terminal: whole sessions, kept in `tests/cli/sessions/` to be read as they stand.

They are written anew by

    CIRCUMSTEP_WRITE_SCREENS=1 python -m pytest tests/cli/test_hand_sessions.py
"""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from firmware_host.clock import ScaledClock
from firmware_host.model import load_machine
from firmware_host.model.files.profiles import find_profile
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.serving.serve import serve
from tests.cli import command
from tests.cli.conftest import Circumstep
from tests.support.kept import kept

SESSIONS = Path(__file__).parent / "sessions"
CLOCK = 10.0
JOB = """
version = 1
name = "mug with a handle"
machine = "bench.toml"

[part]
kind = "tube"
diameter = "82 mm"
inner_diameter = "74 mm"
length = "95 mm"
mass = "0.35 kg"
overhang = "40 mm"
keep_out = [{ start = "160 deg", end = "200 deg" }]

[mark]
arc = "60 mm"
width = "20 mm"
start_edge = "-30 deg"

[window]
half_depth = "0.5 mm"
"""

pytestmark = pytest.mark.posix("a pseudo-terminal")


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "CLOCK_FACTOR", CLOCK)


def still(angle: str) -> str:
    """Matches the line once the part stands still at that angle."""
    return rf"STILL +{re.escape(angle)} deg[^\r\n]*step [\d.]+ (deg|mm|microstep)"


@contextmanager
def board(machine: str) -> Iterator[str]:
    """A simulated controller; gives its port."""
    clock = ScaledClock(CLOCK)
    device = simulated_device(load_machine(machine), delivered=False, start_s=clock.monotonic())
    with serve(device, clock, kind="socket") as server:
        yield server.url


def compare(name: str, transcript: list[str], port: str) -> None:
    """With the session that is kept; what differs from time to time is put into words in capitals."""
    text = "\n".join(transcript).replace(port, "PORT") + "\n"
    assert text == kept(SESSIONS / f"{name}.txt", text)
    assert max(map(len, text.splitlines())) <= 80


def test_a_session_of_jog_is_the_one_that_is_kept() -> None:
    from tests.support.terminal import Terminal

    with board("belt-chuck") as port, Terminal("jog", "shaft-scale", "--port", port) as person:
        person.wait(still("+0.000"))
        person.press("right", until=still("+15.000"))
        person.press("up", until="step 45 deg")
        person.press("right", until=still("+60.000"))
        person.press("down", "down", "down", until="step 1 deg")
        person.press("left", until=still("+58.987"))
        person.press("g", until=r"go to \(deg\): ")
        person.press("3", "7", ".", "5", "Enter", until=still("+37.500"))
        person.press("z", until=still("+0.000"))
        person.press("u", until="step 0.1 mm")
        person.press("right", until=still("+0.225"))
        person.press("0", until=still("+0.000"))
        person.press("m", until="any other key leaves it: ")
        person.press("m", until=r"RELEASED [^\r\n]*step 0.1 mm")
        person.press("right", until=r"RELEASED [^\r\n]*step 0.1 mm")
        person.press("m", until=still("+0.000"))
        person.press("q")
        assert person.end() == 0
    compare("jog", person.transcript, port)


@pytest.fixture
def mug(request: pytest.FixtureRequest, home: Path) -> str:
    """A job of one's own in a folder with a blank in its name, for a machine of that dialect."""
    folder = home / "my jobs"
    folder.mkdir()
    machine = find_profile("machines", "belt-chuck").read_text("utf-8")
    machine = machine.replace('dialect = "status-query"', f'dialect = "{request.param}"')
    machine = machine.replace('motor = "nema23-short"', 'motor = "nema23-long"').replace("6 N*m", "20 N*m")
    (folder / "bench.toml").write_text(machine.replace('largest_grip = "80 mm"', 'largest_grip = "90 mm"'), "utf-8")
    (folder / "mug.toml").write_text(JOB, encoding="utf-8")
    return "my jobs/mug.toml"


@pytest.mark.some(1)
@pytest.mark.parametrize("mug", ["status-query", "numbered-line"], indirect=True)
def test_a_session_of_align_is_the_one_that_is_kept_and_the_next_run_begins_there(
    mug: str, circumstep: Circumstep
) -> None:
    from tests.support.terminal import Terminal

    with board("my jobs/bench.toml") as port:
        assert circumstep("controller", "settings", "write", mug, "--port", port).status == 0
        with Terminal("align", mug, "--port", port) as person:
            person.wait(still("+0.000"))
            person.press("up", "right", until=still("+45.000"))
            person.press("down", "down", "left", until=still("+40.013"))
            person.press("Enter", until="1 to 4, or Escape: ")
            person.press("2")
            assert person.end() == 0
        compare("align", person.transcript, port)
        ran = circumstep("run", mug, "--port", port, "--without-marking")
        assert ran.status == 0, ran.err
        assert "the zero that was set by hand is used: the axis stands at microstep 4800 from it" in ran.err
        again = circumstep("run", mug, "--port", port, "--without-marking", "--zero", "set")
        assert again.status == 2, "a run that has set its zero takes the place of the hand"
        assert "no zero has been set by hand at this port since the last run" in again.err


def test_ctrl_c_stops_a_move_and_puts_the_terminal_back() -> None:
    from tests.support.terminal import Terminal

    with board("belt-chuck") as port, Terminal("jog", "shaft-scale", "--port", port) as person:
        person.wait(still("+0.000"))
        person.press("up", "up", "right", until=r"TURNING +\+[1-9]")
        person.press("Ctrl-C")
        assert person.end() == 4
    assert any("stopped (Ctrl-C)" in line for line in person.transcript), person.transcript


@pytest.mark.parametrize(
    ("options", "shown"),
    [
        (("--by", "15 deg"), "Angle from the zero: 15.000 deg"),
        (("--to", "-30 deg", "--set-zero"), "Zero: set by hand"),
    ],
    ids=["by", "to"],
)
def test_without_a_terminal_the_options_say_it(options: tuple[str, ...], shown: str, circumstep: Circumstep) -> None:
    with board("belt-chuck") as port:
        ended = circumstep("jog", "shaft-scale", "--port", port, *options)
        assert (ended.status, shown in ended.out) == (0, True), ended


def test_without_a_terminal_and_without_an_option_nothing_is_opened(circumstep: Circumstep) -> None:
    ended = circumstep("jog", "shaft-scale", "--port", "/dev/none")
    assert ended.status == 2
    assert "nobody can press keys here" in ended.err
    assert "--by, --to or --set-zero" in ended.err


def test_where_the_controller_could_be_quicker_the_one_command_that_helps_is_printed_and_helps(
    circumstep: Circumstep,
) -> None:
    with board("direct-chuck") as port:
        refused = circumstep("jog", "direct-chuck", "--port", port, "--by", "5 deg")
        assert refused.status == 1, refused
        (line,) = re.findall(r"Turn it by hand with: circumstep (.*)", refused.err)
        words = shlex.split(line)
        assert words == ["jog", "direct-chuck", "--port", port, "--by", "5 deg", "--write-settings"]
        helped = circumstep(*words)
        assert helped.status == 0, helped.err
        assert "Angle from the zero: 5.0" in helped.out


def test_with_a_station_that_is_kept_no_machine_has_to_be_named(circumstep: Circumstep) -> None:
    nothing = circumstep("jog", "--by", "5 deg")
    assert (nothing.status, "it is not said what to turn" in nothing.err) == (2, True)
    with board("belt-chuck") as port:
        assert circumstep("station", "new", "bench", "--machine", "belt-chuck", "--port", port).status == 0
        ended = circumstep("jog", "--by", "5 deg", "--write-settings")
        assert ended.status == 0, ended.err
        assert "Angle from the zero: 4.988 deg" in ended.out or "Angle from the zero: 4.987 deg" in ended.out
        assert "Turned as: steel, 125 mm across and 125 mm long" in ended.out


def test_a_board_that_is_locked_after_power_up_is_unlocked_as_printed_and_then_turned(circumstep: Circumstep) -> None:
    with board("worm-chuck") as port:
        locked = circumstep("jog", "heavy-shaft", "--port", port, "--by", "5 deg")
        assert locked.status == 3, locked.err
        (line,) = re.findall(r"Unlock with: circumstep (.*)", locked.err)
        unlocked = circumstep(*shlex.split(line))
        assert unlocked.status == 0, unlocked.err
        ended = circumstep("jog", "heavy-shaft", "--port", port, "--by", "5 deg", "--json")
        assert ended.status == 0, ended.err
        assert json.loads(ended.out)["angle_deg"] == pytest.approx(5, abs=0.01)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("belt-chuck", "--accept-limit", "creep=measured"), "limits are accepted for a job, and none is named"),
        (("shaft-scale", "--diameter", "60 mm"), "the job says its part's diameter"),
        (("shaft-scale", "--by", "5 deg", "--to", "5 deg"), "--by and --to exclude each other"),
    ],
    ids=["limit", "diameter", "both"],
)
def test_options_that_say_nothing_here_are_refused(words: tuple[str, ...], told: str, circumstep: Circumstep) -> None:
    with board("belt-chuck") as port:
        ended = circumstep("jog", *words, "--port", port, "--set-zero")
        assert (ended.status, told in ended.err) == (2, True), ended.err
