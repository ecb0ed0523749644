"""`controller find`, `controller simulate` and whole runs, in both dialects, as commands on a served board."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from firmware_host.clock import ScaledClock
from firmware_host.simulator.serving.serve import serve
from firmware_host.simulator.status_query.boards import set_board
from firmware_host.simulator.status_query.device import StatusQueryDevice
from tests.cli.command import Program, call
from tests.support.lines import EACH_LINE
from tests.support.three_segments import JOB, own_folders

DRIVING = b"\x1b[2J\x1b]0;owned\x07\x1b[31m\x08\x7f[bold]"
AXES = {"status-query": "XYZA", "numbered-line": "XYZA"}
SCALE_KEY = {"status-query": "$103", "numbered-line": "M92 A"}
each_dialect = pytest.mark.parametrize("dialect", list(AXES))


@pytest.fixture(autouse=True)
def folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_folders(tmp_path, monkeypatch)


@contextmanager
def simulated(dialect: str, *options: str) -> Iterator[str]:
    """A board of that dialect in a process of its own; gives the port."""
    with Program("controller", "simulate", "--dialect", dialect, "--clock", "20", *options) as board:
        yield board.wait_for("out", "\n").strip()
        board.interrupt()
        assert board.end().status == 0


def job_of(dialect: str) -> str:
    """A job whose machine has a controller of that dialect."""
    machine = call("profile", "show", "machine", "belt-chuck").out
    assert 'dialect = "status-query"' in machine
    Path("machine.toml").write_text(machine.replace('"status-query"', f'"{dialect}"'), encoding="utf-8")
    Path("job.toml").write_text(JOB.replace('"belt-chuck"', '"machine.toml"'), encoding="utf-8")
    return "job.toml"


@EACH_LINE
@each_dialect
def test_a_job_runs_from_the_command_line_in_either_dialect(dialect: str, kind: str) -> None:
    job = job_of(dialect)
    with simulated(dialect, "--kind", kind) as port:
        assert port.startswith("socket://127.0.0.1:" if kind == "socket" else "/dev/")
        ended = call("run", job, "--port", port, "--without-marking", "--json")
    assert ended.status == 0, ended.err
    # By hand: 9600 microsteps a turn, 10 mm of 50 mm * pi = 611.15 microsteps.
    passes = json.loads(ended.out)["passes"]
    assert [(entry["planned_microstep"], entry["status"]) for entry in passes] == [
        (0, "done"),
        (611, "done"),
        (1222, "done"),
    ]
    assert all(abs(entry["reported_microstep"] - entry["planned_microstep"]) < 0.5 for entry in passes)


def test_numbered_line_settings_as_delivered_are_written_for_the_job_which_then_runs() -> None:
    job = job_of("numbered-line")
    with simulated("numbered-line", "--delivered") as port:
        assert call("controller", "settings", "compare", job, "--port", port).status == 1
        ended = call("run", job, "--port", port, "--without-marking", "--write-settings")
    assert ended.status == 0, ended.err


def test_a_dialect_without_a_simulated_board_is_bad_usage() -> None:
    ended = call("controller", "simulate", "--dialect", "morse")
    assert (ended.status, ended.out) == (2, "")
    assert ended.err == "error: no board of dialect 'morse' can be simulated. Known: numbered-line, status-query\n"


@each_dialect
def test_find_tells_port_greeting_dialect_axes_buffers_and_settings(dialect: str) -> None:
    with simulated(dialect, "--kind", "socket") as port:
        told = call("controller", "find", "--port", port, "--yes", "--json")
        printed = call("controller", "find", "--port", port, "--yes", "--details")
    assert (told.status, printed.status) == (0, 0)
    assert printed.out.startswith(f"A controller stands at {port}. It speaks {dialect}.\n")
    (found,) = json.loads(told.out)
    assert list(found) == ["port", "dialect", "detail", "baud", "axes", "receive_bytes", "planner_blocks", "settings"]
    assert (found["port"], found["dialect"], found["axes"]) == (port, dialect, AXES[dialect])
    # By hand: 9600 microsteps a turn over 360 deg.
    assert float(found["settings"][SCALE_KEY[dialect]]) == pytest.approx(26.667, abs=0.005)
    (row,) = (line for line in printed.out.splitlines() if line.startswith(f"{port}  {dialect}  "))
    below = " ".join(printed.out.partition(row)[2].split())  # what finds no place in the row, and the settings
    assert row.endswith(f"  {AXES[dialect]}")
    assert f" {port}: " in below
    assert f"{SCALE_KEY[dialect]} = {found['settings'][SCALE_KEY[dialect]]}" in below
    if dialect == "status-query":
        assert found["detail"].endswith("['$' for help]")
        assert (found["receive_bytes"], found["planner_blocks"]) == (128, 15)
        assert " receive buffer bytes: 128 " in below
        assert " planned ahead moves: 15 " in below
    else:
        assert found["detail"] == "start"
        assert (found["receive_bytes"], found["planner_blocks"]) == (None, None)
        assert (row + below).count("not told") == 2


def test_find_asks_before_it_opens_a_port_and_leaves_it_alone_without_a_yes() -> None:
    with simulated("status-query") as port:
        ended = call("controller", "find", "--port", port, "--json", told="n\n")
    assert ended.status == 0
    assert "It may reset the board" in ended.err
    (found,) = json.loads(ended.out)
    assert found["detail"] == "left alone: opening it may reset what is connected"
    assert [found[key] for key in ("dialect", "axes", "receive_bytes", "planner_blocks", "settings")] == [None] * 5


class LoudDevice(StatusQueryDevice):
    """A board whose every word tries to drive the terminal: clear it, set its title, turn it red, mark it up."""

    def transmit(self, now_s: float) -> bytes:
        said = super().transmit(now_s)
        said = said.replace(b"['$' for help]", DRIVING + b" ['$' for help]")
        return said.replace(b"[OPT:", b"[MSG:" + DRIVING + b"]\r\n$201=" + DRIVING + b"\r\n[OPT:")


@pytest.mark.parametrize(
    "command",
    [("find", "--yes", "--details"), ("find", "--yes", "--json"), ("show",), ("show", "--json")],
    ids=["find", "find-json", "show", "show-json"],
)
def test_control_characters_in_replies_never_reach_the_terminal(command: tuple[str, ...]) -> None:
    variant = set_board("A", steps_per_unit=26.667, rate=3000, acceleration=200, highest_step_rate=28_000)
    with serve(LoudDevice(variant), ScaledClock(10.0), kind="socket") as server:
        ended = call("controller", *command, "--port", server.url)
    assert ended.status == 0, ended.err
    assert all(char.isprintable() or char == "\n" for char in ended.out + ended.err)
    assert ("\\x1b[2J" if "--json" not in command else "\\u001b[2J") in ended.out  # it was said, and made visible
    assert "[bold]" in ended.out  # no markup either
