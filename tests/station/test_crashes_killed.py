"""Killed at every line of the journal of a job of 12 segments and 2 passes, and at 200 other instants; then resumed.

At every line of a job of 3 segments, as a rule; the whole with `-m slow`.
"""

import itertools
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest

from firmware_host.simulator.serving.socket_server import SocketServer
from firmware_host.station.journal.journal import read_journal
from firmware_host.station.journal.replay import replay
from tests.faults import killed_run
from tests.faults.play import Outcome, Player
from tests.faults.setups import task_for
from tests.faults.striking import Striker
from tests.faults.world import Died, World

BOARDS = ("status-query/plain", "numbered-line/plain")
SEGMENTS = 12


def lines_of(segments: int) -> int:
    """Begin, zero; for each segment move, standstill, for each pass gate open, gate closed, pass done; the finish."""
    return 2 + segments * (2 + 2 * 3) + 3


def passes_of(segments: int) -> list[tuple[int, int]]:
    return [(segment, number) for segment in range(1, segments + 1) for number in (1, 2)]


def world_of(board: str, home: Path, segments: int = SEGMENTS) -> World:
    home.mkdir()
    return World(home, task_for(board, segments=segments), Random(0))


def judged(player: Player, segments: int = SEGMENTS) -> Outcome:
    """Let the run die as it was told to, resume it until it is done, and compare with the truth."""
    played = player.play()
    assert played.goes.count("died") == 1
    assert played.broken == (), played.goes
    assert len(played.goes) <= 4
    observer = player.world.observer
    for key in passes_of(segments):
        openings = [opening for opening in observer.openings if opening.key == key]
        assert sum(opening.complete for opening in openings) == 1
        assert len(openings) <= 1 + observer.asked.count(key)
    assert len(observer.asked) <= 1
    record = replay(read_journal(player.world.folder.journal)).record
    assert (record.outcome, record.done) == ("done", len(passes_of(segments)))
    return played.outcome


@pytest.mark.parametrize(
    ("board", "how", "segments"),
    [
        (BOARDS[0], "torn", 3),
        *(
            pytest.param(board, how, SEGMENTS, marks=pytest.mark.slow)
            for board, how in itertools.product(BOARDS, ("before", "torn", "after"))
        ),
    ],
)
def test_a_process_that_dies_at_any_line_of_the_journal_is_resumed(
    board: str, how: str, segments: int, tmp_path: Path
) -> None:
    outcomes: list[Outcome] = []
    for at in range(1, lines_of(segments) + 1):
        world = world_of(board, tmp_path / str(at), segments)
        player = Player(world, Striker(world, ()), 0, board)
        world.disk.before = dying(world, at, how)
        outcomes.append(judged(player, segments))
    asked = sum(outcome in (Outcome.ASKED, Outcome.ANEW_ASKED) for outcome in outcomes)
    assert asked == 2 * len(passes_of(segments))  # from where the gate may be open until the pass is known to be done
    anew = sum(outcome in (Outcome.ANEW, Outcome.ANEW_ASKED) for outcome in outcomes)
    assert anew == 0  # a move under way runs out, and both kinds of board tell where that was
    began_again = outcomes.count(Outcome.BEGAN_AGAIN)
    assert began_again == (0 if how == "after" else 1)


def dying(world: World, at: int, how: str) -> Callable[[], None]:
    lines = 0

    def before() -> None:
        nonlocal lines
        lines += 1
        if lines == at:
            disk = world.disk
            length = {"before": 0, "torn": len(disk.line) // 2, "after": len(disk.line)}[how]
            disk.tear(disk.line[:length], disk.descriptor, b"")
            world.die()
            raise Died

    return before


@pytest.mark.parametrize("instants", [4, pytest.param(100, marks=pytest.mark.slow)])
@pytest.mark.parametrize("board", BOARDS)
def test_a_process_that_dies_at_random_instants_is_resumed(board: str, instants: int, tmp_path: Path) -> None:
    random = Random(20260101)
    turns = 0
    whole = world_of(board, tmp_path / "whole")

    def count() -> None:
        nonlocal turns
        turns += 1

    whole.on_turn = count
    assert whole.run().outcome == "done"
    for at in sorted(random.sample(range(turns), instants)):
        world = world_of(board, tmp_path / str(at))
        player = Player(world, Striker(world, ()), 0, board)
        world.on_turn = dying_at_turn(world, at)
        world.gate.goes_on = random.random() < 0.5
        judged(player)


def dying_at_turn(world: World, at: int) -> Callable[[], None]:
    turns = 0

    def turn() -> None:
        nonlocal turns
        turns += 1
        if turns == at + 1:
            world.die()

    return turn


@pytest.mark.parametrize("stage", [*(pytest.param(stage, marks=pytest.mark.slow) for stage in (4, 14, 26)), 37])
def test_a_real_process_killed_on_a_real_line_is_resumed_by_another(stage: int, tmp_path: Path) -> None:
    with killed_run.real_board() as server:
        with started(tmp_path, server.url, "run") as process:
            assert process.stdout is not None
            for _ in range(stage):
                assert process.stdout.readline()
            os.kill(process.pid, signal.SIGKILL)
        assert process.returncode == -signal.SIGKILL
        resumed_by_another(tmp_path, server)
    every_pass_once_or_asked(tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("how", ["before", "after"])
@pytest.mark.parametrize("line", range(2, lines_of(SEGMENTS)))
def test_a_real_process_killed_at_any_line_of_its_journal_is_resumed(line: int, how: str, tmp_path: Path) -> None:
    """From before the second line (before it nothing has begun) to after the last but one (then it is done)."""
    with killed_run.real_board() as server:
        with started(tmp_path, server.url, "run", how, str(line)) as process:
            process.communicate()
        assert process.returncode == -signal.SIGKILL, (tmp_path / "errors").read_text()
        assert len(read_journal(tmp_path / "run" / "journal.jsonl")) == line - (how == "before")
        resumed_by_another(tmp_path, server)
    every_pass_once_or_asked(tmp_path)


def resumed_by_another(home: Path, server: SocketServer) -> None:
    with started(home, server.url, "resume") as process:
        process.communicate()
    assert process.returncode == 0, (home / "errors").read_text()
    assert server.steps_at("A") == 0


def every_pass_once_or_asked(home: Path) -> None:
    noted = (home / "marked").read_text("ascii").splitlines()
    asked = (home / "asked").read_text("ascii").splitlines() if (home / "asked").exists() else []
    for segment, number in passes_of(SEGMENTS):
        key = f"{segment} {number}"
        assert 1 <= noted.count(f"began {key}") <= 1 + asked.count(f"{key} not done")
        assert noted.count(f"ended {key}") == 1
    assert len(asked) <= 1
    assert replay(read_journal(home / "run" / "journal.jsonl")).record.outcome == "done"


def started(home: Path, url: str, act: str, *dying: str) -> subprocess.Popen[str]:
    command = [sys.executable, killed_run.__file__, str(home), url, act, *dying]
    with (home / "errors").open("a") as errors:
        return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=errors, text=True)
