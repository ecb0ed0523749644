"""Boards that leave out the shortest moves, as one recorded does: every index is made all the same, by going past."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from firmware_host.errors import ControllerError
from firmware_host.planning.by_hand import hand_on_job
from firmware_host.simulator.numbered_line.recorded import RECORDED
from firmware_host.station.gates.timed import TimedGate
from tests.support.hand_bench import hand_on
from tests.support.numbered_bench import NumberedBench
from tests.support.station_bench import AWAY_STEPS, changed_setup, quick_disk, small_setup

BOARD = RECORDED["numbered-line-b"]


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.mark.parametrize("stated", [False, True], ids=["found-on-the-board", "stated-in-the-file"])
def test_indexes_of_two_microsteps_all_land_where_they_should(stated: bool, tmp_path: Path) -> None:
    """40 segments over 3 deg, 9600 microsteps a turn: two microsteps each, where the board makes no move below six."""
    setup = changed_setup(
        "shaft-scale",
        mark={"angle": "3 deg", "passes": 1, "start_angle": "0 deg"},
        segments={"count": 40},
        index={"finish": "unwind", "settle": "0.05 s"},
    )
    if stated:
        link = setup.machine.link
        said = link.stated.model_copy(update={"shortest_move": 6})
        link = link.model_copy(update={"stated": said})
        setup = replace(setup, machine=setup.machine.model_copy(update={"link": link}))
    bench = NumberedBench(tmp_path, setup, BOARD, gate=lambda context: TimedGate(context, 0.02))
    record = bench.run()
    (told,) = (text for text in bench.progress.notes if "makes no move below 6 microsteps" in text)
    assert "(39 in the job)" in told
    assert [true for *_, true in bench.progress.rests] == [2 * k for k in range(40)]
    assert record.step_errors == (0,) * 40
    assert bench.plan.route.too_short == (39 if stated else 0)
    bench.never_open_while_moving()
    made = [log.to_steps - log.from_steps for log in bench.device.motion_log[bench.motion_before :]]
    assert min(map(abs, made)) >= 6


def test_a_hand_turns_by_one_microstep_on_such_a_board(tmp_path: Path) -> None:
    bench = NumberedBench(tmp_path, small_setup(), BOARD)
    with hand_on(bench, hand_on_job(bench.setup)) as hand:
        for back in (False, False, True, True, True):
            hand.turn_by("1 microstep", back=back)
            assert bench.steps - AWAY_STEPS == hand.where.microsteps
            assert hand.went_round == "the controller makes no move below 6 microsteps: it went past and came back"
        assert hand.where.microsteps == -1
        hand.turn_by("1 deg")
        assert hand.went_round == ""


def test_a_move_that_would_be_left_out_is_never_sent(tmp_path: Path) -> None:
    bench = NumberedBench(tmp_path, small_setup(), BOARD)
    with hand_on(bench, hand_on_job(bench.setup)) as hand:
        sent = len(bench.port.written)
        with pytest.raises(ControllerError, match="a move of 5 microsteps is not made: the shortest is 6"):
            hand._tools.mover.move_straight(5, lambda report: None)
        assert len(bench.port.written) == sent
