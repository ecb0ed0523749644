"""The cable pulled in every state of a run: told as a lost link within 2 s, the gate shut, the record resumable."""

from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest

from firmware_host.errors import EXIT_LINK_FAULT, PortLostError
from firmware_host.station.journal.journal import read_journal
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.journal.replay import replay
from tests.faults.setups import task_for
from tests.faults.world import World
from tests.support.journal_lines import journal_lines

LATEST_S = 2.0

State = Callable[[World], bool]


def stage(world: World) -> str:
    """The last event of the journal."""
    path = world.folder.journal
    events = journal_lines(path) if path.exists() else []
    return str(events[-1]["event"]) if events else "opening"


def opened(world: World) -> int:
    return len(world.observer.openings)


STATES: dict[str, State] = {
    "opening": lambda world: len(world.trace.entries) > 30 and not world.folder.journal.exists(),
    "preparing": lambda world: stage(world) == "begin",
    "homing": lambda world: stage(world) == "home" and world.line.moving_at(world.now_s),
    "at zero": lambda world: stage(world) == "zero",
    "moving": lambda world: opened(world) == 2 and world.line.moving_at(world.now_s),
    "settling": lambda world: opened(world) == 2 and stage(world) == "move" and not world.line.moving_at(world.now_s),
    "marking": lambda world: opened(world) == 3 and world.gate.is_open,
    "between passes": lambda world: opened(world) == 3 and not world.gate.is_open,
    "going back": lambda world: stage(world) == "finish" and world.line.moving_at(world.now_s),
}
HOMING = "numbered-line/home switch alone", "status-query/home switch alone"
PLAIN = "numbered-line/plain", "status-query/plain"
CASES = [
    (board, state) for state in STATES for board in (HOMING if state == "homing" else PLAIN)
]  # fmt: skip


@pytest.mark.parametrize(("board", "state"), CASES, ids=[f"{board}-{state}" for board, state in CASES])
def test_a_cable_pulled_in_any_state_ends_the_run_in_time_and_it_is_resumed(
    board: str, state: str, tmp_path: Path
) -> None:
    world = World(tmp_path, task_for(board), Random(0))
    world.trace.entries.clear()
    pulled_s: list[float] = []

    def turn() -> None:
        if not pulled_s and STATES[state](world):
            pulled_s.append(world.now_s)
            world.port.pull_cable()

    world.on_turn = turn
    with pytest.raises(PortLostError, match="the cable is pulled") as caught:
        world.run()
    assert caught.value.exit_status == EXIT_LINK_FAULT
    assert world.now_s - pulled_s[0] < LATEST_S
    assert not world.gate.is_open
    assert world.broken_promises(ended=False) == []
    begun = world.folder.journal.exists()
    assert begun == (state != "opening")
    if begun:
        record = replay(read_journal(world.folder.journal)).record
        assert (record.outcome, record.reason) == ("failed", "port memory://device: the cable is pulled")
    world.wait(10.0)
    record = gone_on(world, begun)
    assert record.outcome == "done"
    assert world.broken_promises(ended=True) == []
    assert world.observer.asked == ([(2, 1)] if state == "marking" else [])


def gone_on(world: World, begun: bool) -> RunRecord:
    """Plug the cable in and resume; where the position can't be proved, turn the part to zero first."""
    if not begun:
        return world.run()
    end = journal_lines(world.folder.journal)[-1]
    if end["position_lost"] and not world.task.homes:
        world.turn_to_zero()
        return world.resume("here")
    return world.resume()
