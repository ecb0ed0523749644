"""What seeded runs have found, each by itself, so that it can't come back unseen."""

from collections.abc import Callable
from pathlib import Path
from random import Random

import pytest

from firmware_host.errors import (
    ControllerError,
    ControllerResetError,
    InputError,
    JournalError,
    PositionError,
    RunStoppedError,
)
from tests.faults.setups import task_for
from tests.faults.world import Died, World
from tests.support.board_faults import miscount
from tests.support.journal_lines import journal_lines

SMALL = ("status-query/plain", "numbered-line/plain")


def world_of(board: str, home: Path) -> World:
    return World(home, task_for(board), Random(0))


def once(world: World, due: Callable[[], bool], act: Callable[[], None]) -> None:
    """Do `act` at the first turn at which `due` holds."""

    def turn() -> None:
        if due():
            world.on_turn = lambda: None
            act()

    world.on_turn = turn


def moving_to_second(world: World) -> Callable[[], bool]:
    return lambda: len(world.observer.openings) == 2 and world.line.moving_at(world.now_s)


def fill_disk(world: World) -> None:
    world.disk.full = True


def journalled(world: World, event: str) -> int:
    if not world.folder.journal.exists():
        return 0
    return sum(entry["event"] == event for entry in journal_lines(world.folder.journal))


@pytest.mark.parametrize("board", SMALL)
def test_a_disk_that_fills_in_the_middle_of_a_move_leaves_no_lost_step_unseen(board: str, tmp_path: Path) -> None:
    """Nobody could write down where it was left; but a stop loses no step on either board, and both tell where."""
    world = world_of(board, tmp_path)
    once(world, moving_to_second(world), lambda: fill_disk(world))
    with pytest.raises(JournalError, match="cannot be written"):
        world.run()
    world.disk.full = False
    assert journal_lines(world.folder.journal)[-1]["event"] == "move"
    assert world.resume().outcome == "done"
    assert world.broken_promises(ended=True) == []
    assert world.observer.asked == []


@pytest.mark.parametrize("board", SMALL)
def test_a_stop_in_the_middle_of_a_move_keeps_the_position_in_either_dialect(board: str, tmp_path: Path) -> None:
    world = world_of(board, tmp_path)
    once(world, moving_to_second(world), lambda: world.stop.ask("by the operator"))
    with pytest.raises(RunStoppedError, match="by the operator"):
        world.run()
    end = journal_lines(world.folder.journal)[-1]
    assert (end["outcome"], end["stands_still"]) == ("stopped", True)
    assert end["position_lost"] is False
    assert world.resume().outcome == "done"
    assert world.broken_promises(ended=True) == []


@pytest.mark.parametrize("board", SMALL)
def test_a_stop_at_standstill_keeps_the_position_in_either_dialect(board: str, tmp_path: Path) -> None:
    world = world_of(board, tmp_path)
    once(world, lambda: len(world.observer.openings) == 3, lambda: world.stop.ask("by the operator"))
    with pytest.raises(RunStoppedError, match="by the operator"):
        world.run()
    assert journal_lines(world.folder.journal)[-1]["position_lost"] is False
    assert world.resume().outcome == "done"
    assert world.broken_promises(ended=True) == []
    assert world.observer.asked == [(2, 1)]


@pytest.mark.parametrize("board", SMALL)
def test_a_zero_that_was_not_set_after_all_has_to_be_set_again(board: str, tmp_path: Path) -> None:
    """Between the wish to set it anew and the deed the process died: the zero from before is no zero any more."""
    world = world_of(board, tmp_path)
    once(world, lambda: len(world.observer.openings) == 3, world.die)
    with pytest.raises(Died):
        world.run()
    world.wait(5.0)
    world.turn_to_zero()
    once(world, lambda: journalled(world, "resume") == 1, world.die)
    with pytest.raises(Died):
        world.resume("here")
    world.wait(5.0)
    with pytest.raises(ControllerError, match="by hand, but the run ended before the zero was set"):
        world.resume()
    assert world.resume("here").outcome == "done"
    assert world.broken_promises(ended=True) == []


@pytest.mark.parametrize("board", SMALL)
def test_a_reset_that_was_once_found_is_not_forgotten(board: str, tmp_path: Path) -> None:
    """Reset, refused, and then turned by another program to where the run could have left it."""
    world = world_of(board, tmp_path)
    once(world, lambda: len(world.observer.openings) == 5, world.die)
    with pytest.raises(Died):
        world.run()
    world.wait(5.0)
    world.switch_off_and_on()
    with pytest.raises(
        ControllerResetError, match=r"cannot be proved: (the controller was reset|it stands at machine)"
    ):
        world.resume()
    world.turn_axis(1234 + 1222)
    with pytest.raises(ControllerError, match="the controller was found reset, locked, or with its motor released"):
        world.resume()
    world.turn_to_zero()
    assert world.resume("here").outcome == "done"
    assert world.broken_promises(ended=True) == []


def test_a_record_that_was_not_written_any_more_is_made_when_nothing_else_is_left(tmp_path: Path) -> None:
    world = world_of("status-query/plain", tmp_path)
    once(world, lambda: journalled(world, "end") == 1, world.die)
    with pytest.raises(Died):
        world.run()
    assert not world.folder.record.exists()
    with pytest.raises(InputError, match="the run is done: nothing is left"):
        world.resume()
    assert world.ill_founded() == []
    assert world.folder.record.exists()


def test_a_board_that_is_reset_without_a_word_just_before_a_move_is_found_on_the_way(tmp_path: Path) -> None:
    """It would come to the right coordinate in the wrong place: it counts from zero again."""
    world = world_of("status-query/reversed and mute", tmp_path)
    once(world, lambda: journalled(world, "move") == 2, lambda: world.line.hardware_reset(world.now_s))
    with pytest.raises(PositionError, match=r"it is not between steps 1232 and 1847, on the way of its move"):
        world.run()
    assert len(world.observer.openings) == 2
    assert journal_lines(world.folder.journal)[-1]["position_lost"] is True
    assert world.broken_promises(ended=False) == []


def test_one_misread_position_on_the_way_stops_nothing(tmp_path: Path) -> None:
    world = world_of("status-query/plain", tmp_path)
    wrong: list[float] = []

    def misread(data: bytes) -> bytes:
        if not wrong and len(world.observer.openings) == 2 and b"<Run|" in data:
            wrong.append(world.now_s)
            return data.replace(b"0.000,0.000,0.000,", b"0.000,0.000,0.000,9")
        return data

    world.port.spoil = misread
    assert world.run().outcome == "done"
    assert len(wrong) == 1
    assert world.broken_promises(ended=True) == []


def test_a_count_that_changes_while_a_run_is_taken_up_again_is_found(tmp_path: Path) -> None:
    """Between the proof of the position and the first move the controller is made ready, which takes its count over."""
    world = world_of("status-query/plain", tmp_path)
    once(world, lambda: len(world.observer.openings) == 3, world.die)
    with pytest.raises(Died):
        world.run()
    world.wait(5.0)
    axis = world.task.case.axis
    once(world, lambda: journalled(world, "resume") == 1, lambda: miscount(world.device, axis, 48, world.now_s))
    with pytest.raises(PositionError, match=r"it has not stayed where it was: planned 1845 steps, reported 1893"):
        world.resume()
    assert len(world.observer.openings) == 3
    assert world.broken_promises(ended=False) == []
