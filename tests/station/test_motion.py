"""What a run knows of its axis's motion, and what it makes of an error: with a controller that is only looked at."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.errors import (
    ControllerFaultError,
    ControllerResetError,
    FirmwareHostError,
    GateError,
    MotorReleasedError,
    PortLostError,
    PositionError,
)
from firmware_host.station.journal.events import Finish, Home
from firmware_host.station.journal.journal import Journal
from firmware_host.station.passes.motion import Motion
from firmware_host.station.stop_request import StopAskedError, StopRequest
from tests.support.journal_lines import journal_lines
from tests.support.station_bench import quick_disk


@dataclass
class Board:
    """A controller as far as `Motion` uses it."""

    keeps: bool = True
    stands: bool = True
    position_lost: bool = False
    fails: FirmwareHostError | None = None
    done: list[str] = field(default_factory=list)

    @property
    def capabilities(self) -> Any:
        return SimpleNamespace(stop_keeps_position=self.keeps)

    def stop(self) -> Any:
        self.done.append("stop")
        if self.fails is not None:
            raise self.fails
        return SimpleNamespace(stands_still=self.stands)

    def release(self) -> None:
        self.done.append("release")


@dataclass
class Bench:
    path: Path
    board: Board
    stop: StopRequest
    motion: Motion

    def journalled(self) -> list[str]:
        return [line["event"] for line in journal_lines(self.path)]

    def broken_off(self) -> None:
        """An act that an error leaves."""
        with pytest.raises(PortLostError, match="gone"), self.motion.act(Finish(target=0)):
            raise PortLostError("memory://", "gone")


@pytest.fixture
def make(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    quick_disk(monkeypatch)
    journals = []

    def bench(**board: Any) -> Bench:
        path = tmp_path / "journal.jsonl"
        journal = Journal(path, VirtualClock())
        journals.append(journal)
        controller, stop = Board(**board), StopRequest()
        return Bench(path, controller, stop, Motion(controller, journal, stop))  # type: ignore[arg-type]

    yield bench
    for journal in journals:
        journal.close()


Make = Callable[..., Bench]


def test_an_act_is_journalled_before_it_is_done_and_from_then_on_the_axis_may_move(make: Make) -> None:
    bench = make()
    assert not bench.motion.may_move
    with bench.motion.act(Home()):
        assert bench.journalled() == ["home"]
        assert bench.motion.may_move
    assert bench.motion.may_move


def test_a_wish_to_stop_lets_no_act_begin(make: Make) -> None:
    bench = make()
    bench.stop.ask("Ctrl-C")
    with pytest.raises(StopAskedError, match="Ctrl-C"), bench.motion.act(Home()):
        bench.board.done.append("moved")
    assert (bench.board.done, bench.journalled(), bench.motion.may_move) == ([], [], False)


@pytest.mark.parametrize(
    ("keeps", "broken_off", "lost"),
    [(True, True, False), (False, True, True), (False, False, False)],
    ids=["keeps-count", "stops-short", "stood-still"],
)
def test_a_stop_loses_the_position_only_of_an_act_under_way_on_a_board_that_stops_short(
    keeps: bool, broken_off: bool, lost: bool, make: Make
) -> None:
    bench = make(keeps=keeps)
    with bench.motion.act(Home()):
        pass
    if broken_off:
        bench.broken_off()
    bench.motion.stop()
    end = bench.motion.end(StopAskedError("Ctrl-C"))
    assert (end.outcome, end.reason, end.stands_still, end.position_lost) == ("stopped", "Ctrl-C", True, lost)


def test_an_axis_that_was_not_seen_to_stand_still_is_not_released(make: Make) -> None:
    bench = make(stands=False)
    bench.broken_off()
    bench.motion.stop()
    bench.motion.release()
    assert (bench.board.done, bench.journalled()) == (["stop"], ["finish"])
    assert bench.motion.end(StopAskedError("Ctrl-C")).stands_still is False


def test_a_stop_that_fails_leaves_it_open_whether_the_axis_stands_still(make: Make) -> None:
    bench = make(fails=PortLostError("memory://", "gone"))
    bench.broken_off()
    with pytest.raises(PortLostError, match="gone"):
        bench.motion.stop()
    bench.motion.release()
    assert bench.board.done == ["stop"]
    assert bench.motion.end(bench.board.fails or ValueError()).stands_still is False


def test_a_released_motor_is_journalled_first_and_has_lost_the_position(make: Make) -> None:
    bench = make()
    bench.broken_off()
    bench.motion.stop()
    assert bench.motion.end(StopAskedError("Ctrl-C")).position_lost is False
    bench.motion.release()
    assert (bench.board.done, bench.journalled()) == (["stop", "release"], ["finish", "release"])
    assert bench.motion.end(StopAskedError("Ctrl-C")).position_lost is True


@pytest.mark.parametrize(
    ("error", "reason", "lost"),
    [
        (ControllerFaultError("alarm"), "controller: alarm", True),
        (ControllerResetError("it was reset"), "controller: it was reset", True),
        (MotorReleasedError("it is asleep"), "controller: it is asleep", True),
        (PositionError("elsewhere", planned_steps=1, reported_steps=2), "elsewhere", True),
        (GateError("operator", "nobody"), "nobody", False),
        (KeyboardInterrupt(), "KeyboardInterrupt", False),
        (ValueError("secret"), "ValueError", False),
    ],
    ids=["fault", "reset", "released", "position", "gate", "interrupt", "mistake"],
)
def test_an_error_is_told_and_those_that_lose_the_position_say_so(
    error: BaseException, reason: str, lost: bool, make: Make
) -> None:
    end = make().motion.end(error)
    assert (end.outcome, end.stands_still, end.position_lost) == ("failed", True, lost)
    assert reason in end.reason


def test_a_position_that_the_controller_knows_to_be_lost_is_lost_whatever_ended_the_run(make: Make) -> None:
    assert make(position_lost=True).motion.end(StopAskedError("Ctrl-C")).position_lost is True
