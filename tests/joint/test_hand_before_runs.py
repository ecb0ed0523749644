"""What a run, and a run that is resumed, make of a hand that turned the part before: never a wrong zero."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from firmware_host.errors import ControllerError, InputError, RunStoppedError, ZeroNotSaidError
from firmware_host.model import Setup
from firmware_host.planning.by_hand import hand_on_job, hand_on_machine
from firmware_host.station.hand.hand import Hand, Where
from firmware_host.station.hand.opened import hand_at
from firmware_host.station.redo import Redo, redo_run
from tests.support.hand_bench import BENCHES, hand_on
from tests.support.memory_port import MemoryPort
from tests.support.station_bench import StationBench, changed_setup, quick_disk, small_setup

DIALECTS = pytest.mark.parametrize("dialect", BENCHES)


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def stopped_run(dialect: str, path: Path) -> StationBench:
    """A run that was stopped at its second segment, the axis standing still."""
    bench = BENCHES[dialect](path, small_setup())
    bench.at("gate-open", lambda: bench.stop.ask("Ctrl-C"), rests=2)
    with pytest.raises(RunStoppedError, match="Ctrl-C"):
        bench.run()
    return bench


@DIALECTS
def test_a_run_is_resumed_though_a_hand_has_turned_the_part_meanwhile(dialect: str, tmp_path: Path) -> None:
    bench = stopped_run(dialect, tmp_path)
    zero = bench.progress.origin
    bench.control = type(bench.control)()
    with hand_on(bench) as hand:
        assert hand.where.zero == "last"
        hand.turn_by("75 deg")
    assert bench.resume(done=True).outcome == "done"
    assert [(planned, true) for _, planned, _, true in bench.progress.rests if planned != true] == []
    assert bench.steps == zero


@DIALECTS
def test_a_run_is_not_resumed_once_a_hand_has_released_the_motor(dialect: str, tmp_path: Path) -> None:
    bench = stopped_run(dialect, tmp_path)
    bench.control = type(bench.control)()
    with hand_on(bench) as hand:
        hand.release()
        hand.hold()
    with pytest.raises(ControllerError, match="the motor was released by hand"):
        bench.resume(done=True)


@DIALECTS
def test_where_a_hand_that_was_killed_under_way_left_the_axis_is_proved(dialect: str, tmp_path: Path) -> None:
    bench = BENCHES[dialect](tmp_path, small_setup())
    with hand_on(bench) as hand:
        hand.turn_by("15 deg")
        hand.set_zero()
    zero = bench.steps

    class KilledError(Exception):
        pass

    def killed(where: Where) -> None:
        if where.microsteps > 300:
            raise KilledError

    controller = bench.open()
    opened = hand_without_end(bench, controller)
    with pytest.raises(KilledError):  # the hand is not told of its end, as when its process is killed
        opened.turn_by("45 deg", on_where=killed)
    controller.close()
    bench.clock.sleep(10.0)
    assert bench.run().outcome == "done"  # what was sent is made to its end, and the count says where that is
    assert bench.steps == zero


def hand_without_end(bench: StationBench, controller: Any) -> Hand:
    scales = bench.station(controller).scales
    return hand_at(ExitStack(), hand_on_job(bench.setup), controller, bench.clock, scales, bench.stop)


def test_a_controller_that_was_switched_off_proves_no_zero_of_a_hand(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    with hand_on(bench) as hand:
        hand.turn_by("15 deg")
        hand.set_zero()
    bench.device = bench.make_device({}, {})
    bench.port = MemoryPort(bench.device, bench.clock)
    with pytest.raises(ZeroNotSaidError, match="cannot be proved") as refused:
        bench.run()
    assert [getattr(act, "zero", "") for act in refused.value.acts] == ["here"]


def test_a_zero_of_a_machine_that_counts_otherwise_is_not_taken(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    with hand_on(bench) as hand:
        hand.turn_by("15 deg")
        hand.set_zero()
    other = bench.setup.with_values({"driver.microsteps": 8})
    with pytest.raises(ZeroNotSaidError, match="counts its steps otherwise"):
        run_with(bench, other)


def run_with(bench: StationBench, setup: Setup) -> None:
    """The same board, run with another description of its machine: refused before anything is compared."""
    bench.setup = setup
    bench.run()


def test_a_zero_set_on_a_machine_alone_is_that_of_whatever_job_comes_next(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    plan = hand_on_machine(bench.machine)
    slow = {f"${120 + bench.index}": float(int(plan.acceleration * 57))}
    bench = StationBench(tmp_path / "slow", small_setup(), stored=slow)
    with hand_on(bench, plan) as hand:
        hand.turn_by("20 deg")
        hand.set_zero()
        with pytest.raises(InputError, match="diameter is not known"):
            hand.turn_by("5 mm")
    zero = bench.steps
    assert bench.run().outcome == "done"
    assert bench.steps == zero


def test_where_there_is_a_home_switch_a_zero_that_was_set_by_hand_comes_first(tmp_path: Path) -> None:
    setup = changed_setup(
        "heavy-shaft", mark={"arc": "30 mm", "width": "10 mm"}, segments={"count": 3}, index={"finish": "unwind"}
    )
    bench = StationBench(tmp_path, setup)
    bench.run()  # homes, and unlocks by that
    bench.new_folder()
    with hand_on(bench) as hand:
        hand.turn_by("33 deg")
        hand.set_zero()
    zero = bench.steps
    assert bench.run().outcome == "done"
    assert bench.steps == zero
    bench.new_folder()
    assert bench.run().outcome == "done"
    assert bench.steps != zero, "the run after that homes again"


@DIALECTS
def test_a_reversed_axis_turns_the_other_way_and_keeps_its_zero(dialect: str, tmp_path: Path) -> None:
    setup = small_setup().with_values({"axis.reversed": True})
    bench = BENCHES[dialect](tmp_path, setup, away=0)
    with hand_on(bench) as hand:
        hand.turn_by("90 deg")
        assert hand.where.microsteps == -bench.steps == round(Fraction(1, 4) * hand.plan.per_turn)
        assert hand.where.units == pytest.approx(-90, abs=0.1)
        hand.set_zero()
    zero = bench.steps
    assert bench.run().outcome == "done"
    assert bench.steps == zero


def test_an_output_that_somebody_left_on_is_off_before_anything_moves(tmp_path: Path) -> None:
    setup = small_setup()
    gate = {"kind": "controller-output", "output": 0, "duration": "1 s"}
    job = type(setup.job).model_validate(setup.job.model_dump(mode="json", exclude_none=True) | {"gate": gate})
    bench = StationBench(tmp_path, replace(setup, job=job))
    with hand_on(bench) as hand:
        before = len(bench.sent_moves())
        hand.turn_by("5 deg")
    sent = bench.sent_lines()
    first = next(place for place, line in enumerate(sent) if line in bench.sent_moves()[before:])
    off = [place for place, line in enumerate(sent) if line.startswith(("M9", "M5", "M65", "M63"))]
    assert off, sent
    assert off[0] < first


def test_a_run_is_not_resumed_without_a_word_once_a_hand_has_set_another_zero(tmp_path: Path) -> None:
    bench = stopped_run("status-query", tmp_path)
    zero = bench.progress.origin
    bench.control = type(bench.control)()
    with hand_on(bench) as hand:
        hand.turn_by("20 deg")
        hand.set_zero()
    with pytest.raises(ControllerError, match="a zero was set by hand since, perhaps on another part"):
        bench.resume(done=True)
    assert bench.resume(done=True, zero="last").outcome == "done"
    assert bench.steps == zero


@pytest.mark.parametrize("set_zero", [False, True], ids=["turned", "zero set"])
def test_segments_are_marked_again_only_while_a_hand_has_set_no_other_zero(set_zero: bool, tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    assert bench.run().outcome == "done"
    ran, zero = bench.folder, bench.steps
    with hand_on(bench) as hand:
        hand.turn_by("20 deg")
        if set_zero:
            hand.set_zero()
    bench.new_folder()
    redo = Redo.read(ran.path, "2-3")
    with bench.open() as controller:
        station = bench.station(controller)
        if set_zero:
            with pytest.raises(ZeroNotSaidError, match="a zero was set by hand since"):
                redo_run(redo, station)
            return
        assert redo_run(redo, station).outcome == "done"
    assert bench.steps == zero
