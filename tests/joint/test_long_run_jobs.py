"""Whole jobs that have to take turns back: the gate is shut meanwhile, and a crash at any line is resumed."""

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from firmware_host.errors import PlanError, RunStoppedError
from firmware_host.model import Machine, Setup
from firmware_host.planning.route.moves import Purpose
from firmware_host.station.journal.journal import read_journal
from firmware_host.station.journal.replay import replay
from firmware_host.station.runs.listing import read_record
from firmware_host.station.runs.status import run_status
from tests.support.crashes import Crash, CrashingJournal, die, revive
from tests.support.journal_lines import as_schema1, journal_lines
from tests.support.station_bench import StationBench, changed_setup, quick_disk

ROLLERS_TURN = Fraction(2_560_000, 127)
"""Microsteps in a turn of the part of 80 mm: 6400 * 800/254."""


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.fixture
def crashing(monkeypatch: pytest.MonkeyPatch) -> type[CrashingJournal]:
    monkeypatch.setattr("firmware_host.station.run.Journal", CrashingJournal)
    monkeypatch.setattr("firmware_host.station.resume.Journal", CrashingJournal)
    return CrashingJournal


def far_round(approach: str = "both-sides") -> Setup:
    """Four segments, 230 to 297.5 deg from the job's zero, on the rollers.

    With a scale of which only three decimals are known, 15,600 steps can be proved, and the run begins 1234 steps out:
    the third segment at 275 deg (15,398 microsteps) needs a turn back.
    """
    return changed_setup(
        "bottle-band",
        mark={"angle": "90 deg", "start_angle": "230 deg"},
        segments={"count": 4},
        index={"finish": "unwind", "settle": "0.25 s", "approach": approach},
    )


def travelling(setup: Setup, lowest: str, highest: str) -> Setup:
    """The same job on a machine whose axis is wound by a cable."""
    machine = setup.machine.model_dump(mode="json", exclude_none=True)
    machine["axis"]["travel"] = {"lowest": lowest, "highest": highest}
    return replace(setup, machine=Machine.model_validate(machine))


def marked_where_they_should_be(bench: StationBench, turns: Mapping[int, int], per_turn: Fraction) -> None:
    """Every segment was marked once, at its exact step with so many turns taken back, and never while it moved."""
    targets = bench.plan.route.segment_targets().tolist()
    rests = {segment: (planned, reported, true) for segment, planned, reported, true in bench.progress.rests}
    assert sorted(bench.passes_marked()) == [(segment, 1) for segment in turns]
    for segment, back in turns.items():
        planned, reported, true = rests[segment]
        angle = bench.plan.route.angles.angle(segment - 1)
        assert planned == targets[segment - 1]
        assert true == round((angle - back) * per_turn)
        assert abs(reported - planned) < 0.5
    bench.never_open_while_moving()


@pytest.mark.parametrize("approach", ["both-sides", "one-side"])
def test_a_turn_is_taken_back_between_two_segments_while_the_gate_is_shut(approach: str, tmp_path: Path) -> None:
    bench = StationBench(tmp_path, far_round(approach), known=False)
    assert bench.run().outcome == "done"
    marked_where_they_should_be(bench, {1: 0, 2: 0, 3: 1, 4: 1}, ROLLERS_TURN)
    kinds = [event["event"] for event in journal_lines(bench.folder.journal)]
    where = kinds.index("unwind")
    assert kinds[where - 1 : where + 4] == ["pass-done", "unwind", "zero", "move", "standstill"]
    if approach == "one-side":
        bench.approached_from_below()
    assert bench.steps == bench.progress.origin
    assert "unwinding 1 whole turn" in bench.progress.stages


def test_what_rings_after_an_unwinding_is_waited_for_before_the_next_move(tmp_path: Path) -> None:
    """Lost motion is taken up from where it came to rest: 0.25 s (index.settle) lie between the two travels."""
    bench = StationBench(tmp_path, far_round("one-side"), known=False)
    bench.run()
    travels = bench.device.motion_log[bench.motion_before :]
    (back,) = [index for index, travel in enumerate(travels) if travel.from_steps - travel.to_steps > 10_000][:1]
    assert travels[back + 1].start_s - travels[back].end_s >= 0.25


@pytest.mark.slow
@pytest.mark.parametrize("how", ["before", "torn", "after"])
@pytest.mark.parametrize("approach", ["both-sides", "one-side"])
def test_a_crash_at_any_line_before_and_after_an_unwinding_is_resumed(
    how: str, approach: str, tmp_path: Path, crashing: type[CrashingJournal]
) -> None:
    lines = 26 if how == "after" else 27
    for at in range(10, lines):
        bench = StationBench(tmp_path / f"{at}", far_round(approach), known=False)
        die(bench, crashing, at, how)
        with pytest.raises(Crash):
            bench.run()
        revive(bench, crashing)
        if replay(read_journal(bench.folder.journal)).record.outcome == "done":
            break
        unknown = [(entry.segment, entry.number) for entry in read_record(bench.folder).unknown]
        assert bench.resume(done=bool(unknown) and unknown[0] in bench.passes_marked()).outcome == "done"
        marked_where_they_should_be(bench, {1: 0, 2: 0, 3: 1, 4: 1}, ROLLERS_TURN)
        if approach == "one-side":
            bench.approached_from_below()
    assert at >= 24


def test_a_stop_while_turns_are_taken_back_is_resumed_from_where_it_stopped(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, far_round(), known=False)

    def stage(text: str) -> None:
        if text.startswith("unwinding"):
            bench.at("moving", lambda: bench.stop.ask("by a test"), rests=2)
            bench.progress.on_stage = lambda text: None

    bench.progress.on_stage = stage
    with pytest.raises(RunStoppedError, match="by a test"):
        bench.run()
    # On the way from 14,138 + 1234, or not one step from it yet, back to a turn before 15,398 + 1234.
    assert -3526 < bench.steps <= 15_372
    assert bench.resume().outcome == "done"
    marked_where_they_should_be(bench, {1: 0, 2: 0, 3: 1, 4: 1}, ROLLERS_TURN)


@pytest.mark.parametrize("stopped_after", [1, 3])
def test_a_journal_from_before_turns_were_journalled_is_still_resumed(stopped_after: int, tmp_path: Path) -> None:
    """Such a journal tells of no turns, and none were taken back: only the first segments come from it."""
    bench = StationBench(tmp_path, far_round(), known=stopped_after == 3)

    def crash() -> None:
        bench.port.pull_cable()
        raise Crash

    bench.at("settling", crash, rests=stopped_after)
    with pytest.raises(Crash):
        bench.run()
    revive(bench)
    assert any("turns" in line for line in journal_lines(bench.folder.journal))
    as_schema1(bench.folder.journal, without={"turns"})
    assert not any("turns" in line for line in journal_lines(bench.folder.journal))
    assert bench.resume().outcome == "done"
    turns = {1: 0, 2: 0, 3: 0, 4: 0} if stopped_after == 3 else {1: 0, 2: 0, 3: 1, 4: 1}
    marked_where_they_should_be(bench, turns, ROLLERS_TURN)


@pytest.mark.parametrize("approach", ["both-sides", "one-side"])
def test_where_a_run_was_left_behind_turns_taken_back_is_told_alike_by_either_schema(
    approach: str, tmp_path: Path
) -> None:
    bench = StationBench(tmp_path, far_round(approach), known=False)
    bench.at("gate-open", lambda: bench.stop.ask("by a test"), rests=3)
    with pytest.raises(RunStoppedError, match="by a test"):
        bench.run()
    status = run_status(bench.folder)
    assert status.microsteps == (15_398 - 20_157, 15_398 - 20_157)
    as_schema1(bench.folder.journal)
    assert run_status(bench.folder) == status


@pytest.mark.slow
def test_jobs_that_end_on_the_next_turn_never_come_to_an_end(tmp_path: Path) -> None:
    """Each leaves the axis a turn farther out; 2.6 million steps out the next one begins with taking turns back."""
    setup = changed_setup(
        "bottle-band",
        mark={"angle": "90 deg", "start_angle": "10 deg"},
        segments={"count": 4},
        index={"finish": "next-turn", "settle": "0.05 s"},
    )
    away, taken = 2_600_000, []
    for number in range(3):
        bench = StationBench(tmp_path / f"{number}", setup, away=0)
        bench.raw(f"G21 G90 G53 G1 Y{away / 17.778:.4f} F60000", wait_s=10_000.0)
        bench.motion_before = len(bench.device.motion_log)
        assert bench.steps == away
        assert bench.run().outcome == "done"
        turns = [event["turns"] for event in journal_lines(bench.folder.journal) if event["event"] == "zero"][-1]
        marked_where_they_should_be(bench, dict.fromkeys(range(1, 5), turns), ROLLERS_TURN)
        taken.append(turns)
        assert bench.steps == away + round((1 - turns) * ROLLERS_TURN)
        away = bench.steps
    assert taken == [127, 0, 0]  # 127 turns are a whole number of microsteps, 2,560,000


def test_a_cable_wound_axis_runs_its_job_within_its_travel(tmp_path: Path) -> None:
    """Belt chuck, 9600 microsteps per turn: from 240 deg on, segments are reached a turn before."""
    setup = changed_setup(
        "shaft-scale",
        mark={"angle": "360 deg"},
        segments={"count": 24},
        index={"finish": "next-turn", "settle": "0.05 s"},
    )
    bench = StationBench(tmp_path, travelling(setup, "-140 deg", "235 deg"), away=40)
    route = bench.plan.route
    assert int((route.purpose == Purpose.UNWIND).sum()) == 1
    assert bench.run().outcome == "done"
    marked_where_they_should_be(bench, {segment: 1 if segment > 16 else 0 for segment in range(1, 25)}, Fraction(9600))
    log = bench.device.motion_log
    assert min(travel.to_steps for travel in log) >= -140 * 9600 / 360
    assert max(travel.to_steps for travel in log) <= 235 * 9600 / 360
    assert bench.steps == 40  # the next turn of 360 deg, one turn taken back


def test_a_cable_wound_axis_that_stands_where_its_travel_does_not_reach_is_refused(tmp_path: Path) -> None:
    setup = changed_setup("shaft-scale", mark={"arc": "60 mm", "start_angle": "100 deg"}, segments={"count": 6})
    bench = StationBench(tmp_path, travelling(setup, "-100 deg", "215 deg"), away=2666)
    # 100 deg further on than the plan takes it to stand: 222.9 deg would have to become -137.1, and 245.8 -114.2 deg,
    # less 0.63 deg where lost motion is taken up.
    with pytest.raises(PlanError, match=r"outside axis\.travel: -114\.8\d* deg, limit -100 deg"):
        bench.run()
    assert bench.device.motion_log[bench.motion_before :] == ()
