"""Whole runs of every shipped job on a simulated board, watched from outside."""

import json
from fractions import Fraction
from pathlib import Path

import pytest

from firmware_host.errors import JournalError, LimitExceededError
from tests.support.journal_lines import journal_lines
from tests.support.station_bench import PASS_S, StationBench, changed_setup, quick_disk, small_setup

JOBS = ("shaft-scale", "heavy-shaft", "sleeve-label", "bottle-band")
QUIET = frozenset({"$$", "$I", "$G", "", "$H", "G91"})


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.mark.parametrize("job", JOBS)
def test_a_shipped_job_runs_to_its_end_with_the_gate_open_only_at_a_standstill(job: str, tmp_path: Path) -> None:
    bench = StationBench(tmp_path, job)
    record = bench.run()
    passes = bench.setup.job.mark.passes
    targets = bench.plan.route.segment_targets().tolist()
    wanted = [(segment, number) for segment in range(1, len(targets) + 1) for number in range(1, passes + 1)]
    assert record.outcome == "done"
    assert bench.passes_marked() == wanted
    assert [(entry.segment, entry.number, entry.status) for entry in record.passes] == [
        (*key, "done") for key in wanted
    ]
    assert [(planned, true) for _, planned, _, true in bench.progress.rests] == [(t, t) for t in targets]
    assert set(record.step_errors) == {0}
    bench.never_open_while_moving()
    assert not bench.moving
    assert bench.progress.left[-1] is not None


@pytest.mark.parametrize("job", JOBS)
def test_every_line_that_names_the_axis_is_a_move_of_the_plan(job: str, tmp_path: Path) -> None:
    """The lines are read here, with an exact fraction for steps-per-unit, and compared with the route."""
    bench = StationBench(tmp_path, job)
    record = bench.run()
    others = {line for line in bench.sent_lines() if bench.axis not in line}
    assert others <= QUIET | {"G17 G21 G40 G49 G80 G90 G94"}
    scale = Fraction(round(bench.machine.steps_per_axis_unit * 1000), 1000)
    assert record.origin_steps is not None
    went = []
    for line in bench.sent_moves():
        system, motion, coordinate, feed = line.split(" ")
        assert (system, motion, coordinate[0], feed[0]) == ("G53", "G1", bench.axis, "F")
        steps = Fraction(coordinate[1:]) * scale
        assert abs(steps - round(steps)) < Fraction(1, 20)
        went.append(round(steps) - record.origin_steps)
    assert went == bench.plan.route.targets.tolist()


@pytest.mark.parametrize("job", JOBS)
def test_record_and_journal_say_the_same_and_survive_being_read_again(job: str, tmp_path: Path) -> None:
    bench = StationBench(tmp_path, job)
    record = bench.run()
    saved = json.loads(bench.folder.record.read_text("utf-8"))
    assert saved["outcome"] == "done"
    assert saved["origin_steps"] == record.origin_steps
    for row, (opened_s, closed_s, request) in zip(saved["passes"], bench.gate.opened, strict=True):
        assert (row["segment"], row["number"]) == (request.segment, request.number)
        assert abs(row["reported_microstep"] - row["planned_microstep"]) < 0.5
        assert row["standstill"] <= row["gate_open"] < row["gate_closed"]
        assert closed_s is not None
        assert closed_s - opened_s >= 0.5
    words = [event["event"] for event in journal_lines(bench.folder.journal)]
    assert words[0] == "begin"
    assert words[-1] == "end"
    assert words.count("gate-open") == words.count("gate-closed") == words.count("pass-done") == len(record.passes)
    assert bench.folder.load_setup().job == bench.setup.job


@pytest.mark.parametrize(
    ("job", "finish", "expected"),
    [
        # 9600 microsteps a turn; 10 mm on 50 mm: 9600*10/(50 pi) = 611.15, twice that 1222.31
        ("shaft-scale", "stay", 1222),
        ("shaft-scale", "unwind", 0),
        ("shaft-scale", "next-turn", 9600),
        # rollers 25.4 mm, part 80 mm: 20157.48 a turn (2560000/127)
        ("bottle-band", "next-turn", 20157),
    ],
    ids=["stay", "unwind", "next-turn", "rollers-next-turn"],
)
def test_the_axis_ends_where_the_job_says(job: str, finish: str, expected: int, tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup(job, finish=finish))
    bench.run()
    assert bench.progress.origin is not None
    assert bench.steps - bench.progress.origin == expected


def test_the_homed_machine_takes_its_zero_from_the_switch(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup("heavy-shaft"))
    bench.run()
    lines = bench.sent_lines()
    assert lines.count("$H") == 1
    assert lines.index("$H") < lines.index(bench.sent_moves()[0])
    # the switch closes at true step -2000; a pull-off of 1 unit (133 steps of 133.333) leads forward from it
    assert bench.progress.origin == -2000 + 133


def test_a_run_leaves_the_axis_where_it_stood_before_when_a_limit_fails(tmp_path: Path) -> None:
    setup = changed_setup("shaft-scale", index={"speed": "300 rpm", "acceleration": "100000 rad/s^2", "finish": "stay"})
    bench = StationBench(tmp_path, setup)
    with pytest.raises(LimitExceededError, match="the plan exceeds its limits"):
        bench.run()
    assert bench.sent_moves() == []
    assert len(bench.device.motion_log) == bench.motion_before
    assert json.loads(bench.folder.record.read_text("utf-8"))["outcome"] == "failed"


def test_a_second_run_in_the_same_folder_is_refused_and_moves_nothing(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    bench.run()
    moves = bench.sent_moves()
    with pytest.raises(JournalError, match="holds a run already"):
        bench.run()
    assert bench.sent_moves() == moves


def test_the_time_that_is_left_is_that_of_the_marking_and_of_the_moves_still_to_come(tmp_path: Path) -> None:
    """Two passes of half a second at each of three segments; a move on the way to a segment takes 0.14 s or a little
    more (the controller's own settings are slower), and then 0.25 s to settle; the way to the end 0.2 to 0.3 s.
    """
    bench = StationBench(tmp_path, small_setup())
    bench.run()
    assert bench.plan.settle_s == 0.25
    finish_s = bench.progress.left[-1]
    assert finish_s is not None
    assert 0.2 < finish_s < 0.3
    for passes, left_s in zip((5, 4, 3, 2, 1, 0), bench.progress.left, strict=True):
        assert left_s is not None
        moving_s = left_s - passes * PASS_S
        moving_s -= finish_s
        moves = passes // 2  # with an odd number left it stands at a segment half done
        assert 0.39 * moves <= moving_s + 1e-3 <= 0.60 * moves + 2e-3 + 0.02 * passes
