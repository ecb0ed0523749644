"""A recorded board as it comes from its maker, at the command line: shown, compared, set, and shown again."""

from __future__ import annotations

from pathlib import Path

import pytest

from firmware_host.clock import ScaledClock
from firmware_host.model import load_machine
from firmware_host.simulator.boards import board_names, simulated_device
from firmware_host.simulator.serving.serve import serve
from tests.cli.command import Program
from tests.cli.conftest import Circumstep

FASTER = 10.0


def described(circumstep: Circumstep, board: str) -> None:
    """`machine.toml` for the board, its axis one that the board has, and `job.toml` on it."""
    numbered = board.startswith("numbered")
    machine = circumstep("profile", "show", "machine", "printer-board-chuck" if numbered else "fourth-axis-chuck").out
    if board == "status-query-a":
        machine = machine.replace('letter = "A"', 'letter = "X"')
    Path("machine.toml").write_text(machine, encoding="utf-8")
    job = circumstep("profile", "show", "job", "sleeve-label").out
    lines = ['machine = "machine.toml"' if line.startswith("machine = ") else line for line in job.splitlines()]
    Path("job.toml").write_text("\n".join(lines), encoding="utf-8")


LONG = pytest.param("numbered-line-a", marks=pytest.mark.slow)


@pytest.mark.some(2)
@pytest.mark.parametrize("board", [LONG if name == "numbered-line-a" else name for name in board_names()])
def test_a_board_from_its_maker_is_shown_set_for_the_job_and_fits(circumstep: Circumstep, board: str) -> None:
    described(circumstep, board)
    clock = ScaledClock(FASTER)
    device = simulated_device(load_machine("machine.toml"), delivered=True, start_s=clock.monotonic(), board=board)
    with serve(device, clock) as server:
        shown = circumstep("controller", "show", "--machine", "machine.toml", "--port", server.url)
        assert shown.status == 0
        assert ("circumstep controller unlock" in shown.err + shown.out) == (board == "status-query-b")
        compare = ("controller", "settings", "compare", "job.toml", "--port", server.url)
        assert circumstep(*compare).status == 1
        assert circumstep("controller", "settings", "write", "job.toml", "--port", server.url).status == 0
        assert circumstep(*compare).status == 0


def test_simulate_serves_a_board_by_its_name_and_names_those_there_are(circumstep: Circumstep) -> None:
    words = ("controller", "simulate", "--machine", "fourth-axis-chuck", "--clock", "20", "--board")
    ended = circumstep(*words, "status-query-z")
    assert ended.status == 2
    assert ", ".join(board_names()) in " ".join(ended.err.split())
    with Program(*words, "status-query-c") as board:
        port = board.wait_for("out", "\n").strip()
        shown = circumstep("controller", "show", "--machine", "fourth-axis-chuck", "--port", port)
        assert shown.status == 0
        assert "Axes: X Y Z A (told)" in shown.out
