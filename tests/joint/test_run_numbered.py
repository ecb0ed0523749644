"""Whole runs over numbered lines: shipped jobs on mixed variants, a thousand indexes, limits that are not told."""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from firmware_host.errors import ControllerError, PortLostError, PositionError, RunStoppedError, SettingsMismatchError
from firmware_host.model.machine.machine import Stated
from firmware_host.planning.plan import plan_job
from firmware_host.simulator.numbered_line.recorded import RECORDED
from firmware_host.simulator.numbered_line.variant import NumberedLineVariant
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.runs.status import Place, run_status
from firmware_host.station.settings.write import wanted_changes, write_for_plan
from tests.support.numbered_bench import NumberedBench
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS, rotary_axis
from tests.support.station_bench import Phase, changed_setup, quick_disk, small_setup

JOBS = ("shaft-scale", "heavy-shaft", "sleeve-label", "bottle-band")
BOARDS = {**NUMBERED_LINE_BOARDS, **RECORDED}
MUTE = frozenset(name for name, variant in NUMBERED_LINE_BOARDS.items() if variant.settings_report == "none")


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def landed(bench: NumberedBench) -> None:
    """The motor's own counter at each rest is the plan's, and the gate was never open while it moved."""
    targets = bench.plan.route.segment_targets().tolist()
    assert [(planned, true) for _, planned, _, true in bench.progress.rests] == [(t, t) for t in targets]
    bench.never_open_while_moving()


@pytest.mark.some(4)
@pytest.mark.parametrize(
    ("job", "name"),
    [
        pytest.param(job, name, id=f"{job}-{name}", marks=() if (i + j) % len(JOBS) == 0 else pytest.mark.slow)
        for i, job in enumerate(JOBS)
        for j, name in enumerate(NUMBERED_LINE_BOARDS)
    ],
)
def test_a_shipped_job_runs_to_its_end_on_every_board_variant(job: str, name: str, tmp_path: Path) -> None:
    bench = NumberedBench(tmp_path, job, NUMBERED_LINE_BOARDS[name], stated=name in MUTE, known=name not in MUTE)
    record = bench.run()
    passes = bench.setup.job.mark.passes
    segments = bench.plan.segments.count
    assert record.outcome == "done"
    assert bench.passes_marked() == [(s, p) for s in range(1, segments + 1) for p in range(1, passes + 1)]
    assert set(record.step_errors) == {0}
    landed(bench)


def test_the_record_claims_no_more_than_a_planned_place_where_the_board_reports_no_other(tmp_path: Path) -> None:
    bench = NumberedBench(tmp_path, small_setup(), NUMBERED_LINE_BOARDS["blind"])
    assert bench.run().reports == "planned"


@pytest.mark.some(1)
@pytest.mark.parametrize(
    ("name", "count"),
    [
        ("plain", 250),
        pytest.param("plain", 1000, marks=pytest.mark.slow),
        ("blind", 250),
        ("listing", 250),
        pytest.param("blind", 1000, marks=pytest.mark.slow),
        pytest.param("listing", 1000, marks=pytest.mark.slow),
    ],
)
def test_many_indexes_land_on_as_many_intended_steps(name: str, count: int, tmp_path: Path) -> None:
    """9600 microsteps a turn by hand (200 * 16 * 3): of a thousand, target k is round(9.6 k)."""
    setup = changed_setup(
        "shaft-scale",
        mark={"angle": "360 deg", "passes": 1, "start_angle": "0 deg"},
        segments={"count": count},
        index={"finish": "unwind", "settle": "0.05 s"},
    )
    bench = NumberedBench(tmp_path, setup, NUMBERED_LINE_BOARDS[name], gate=lambda context: TimedGate(context, 0.02))
    record = bench.run()
    assert [true for *_, true in bench.progress.rests] == [round(9600 * k / count) for k in range(count)]
    assert record.step_errors == (0,) * count
    landed(bench)


# --- what is not told ----------------------------------------------------------------------------------------------


def test_limits_that_can_neither_be_read_nor_are_stated_stop_the_run_before_anything_moves(tmp_path: Path) -> None:
    bench = NumberedBench(tmp_path, small_setup(), NUMBERED_LINE_BOARDS["mute"], known=False)
    keys = r"link\.stated\.steps_per_unit, link\.stated\.rate, link\.stated\.acceleration"
    with pytest.raises(ControllerError, match=rf"does not report its steps per unit, rate, acceleration: state {keys}"):
        bench.run()
    assert len(bench.device.motion_log) == bench.motion_before
    assert bench.gate.opened == []


@pytest.mark.parametrize(
    ("key", "text", "complaint"),
    [
        ("steps_per_unit", "26.668", r"steps per unit \(link\.stated\.steps_per_unit\): is 26\.668, wanted 26\.667"),
        ("acceleration", "50000 deg/s^2", r"acceleration \(link\.stated\.acceleration\): is 50000 units/s\^2, above"),
        ("rate", "4000 deg/s", r"rate \(link\.stated\.rate\): is 240000 units/min, more steps per second"),
    ],
    ids=["scale", "acceleration", "rate"],
)
def test_a_statement_that_does_not_fit_is_refused_with_a_fix_that_can_be_done(
    key: str, text: str, complaint: str, tmp_path: Path
) -> None:
    bench = NumberedBench(tmp_path, small_setup(), NUMBERED_LINE_BOARDS["mute"], stated=True, known=False)
    link = bench.machine.link
    said = Stated.model_validate(link.stated.model_dump(mode="json", exclude_none=True) | {key: text})
    bench.machine = bench.machine.model_copy(update={"link": link.model_copy(update={"stated": said})})
    bench.setup = replace(bench.setup, machine=bench.machine)
    with pytest.raises(SettingsMismatchError, match=rf"(?s){complaint}.*change it with the controller's own tools"):
        bench.run()
    assert len(bench.device.motion_log) == bench.motion_before


def test_what_is_stated_does_not_overrule_what_can_be_read(tmp_path: Path) -> None:
    bench = NumberedBench(
        tmp_path,
        small_setup(),
        NUMBERED_LINE_BOARDS["plain"],
        stated=True,
        stored={"M201 A": 50_000.0, "M204 T": 60_000.0},
    )
    with pytest.raises(SettingsMismatchError, match=r"acceleration \(M201 A\): is 50000\.00"):
        bench.run()


def test_a_controller_that_holds_another_scale_than_stated_is_found_at_the_first_move(tmp_path: Path) -> None:
    """Nothing can tell before: the gate is not opened at a step that isn't the plan's."""
    bench = NumberedBench(
        tmp_path, small_setup(), NUMBERED_LINE_BOARDS["mute"], stated=True, stored={"M92 A": 26.5}, known=False, away=0
    )
    with pytest.raises(PositionError, match="it stands at another step"):
        bench.run()
    assert [request.segment for *_, request in bench.gate.opened] in ([], [1], [1, 1])
    bench.never_open_while_moving()


# --- settings ------------------------------------------------------------------------------------------------------

DELIVERED = {"M92 A": 100.0, "M203 A": 100.0, "M201 A": 5000.0, "M204 T": 9000.0}


@pytest.mark.parametrize("name", ["plain", "listing", "per-minute", "one-axis-for-all"])
def test_a_board_as_delivered_is_written_runs_and_gets_its_old_settings_back(name: str, tmp_path: Path) -> None:
    variant = NUMBERED_LINE_BOARDS[name]
    letter = rotary_axis(variant)
    stored = {key.replace(" A", f" {letter}"): value for key, value in DELIVERED.items()}
    bench = NumberedBench(tmp_path, small_setup("heavy-shaft"), variant, stored=stored, known=False, away=0)
    with bench.open() as controller:
        before = write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
        exact = Fraction("133.333")  # 200 * 8 * 30 / 360, with the three decimals that are written
        assert bench.scales.recall(controller.url, controller.settings) == exact
        assert wanted_changes(bench.machine, bench.plan, controller, bench.scales) == {}
    assert {difference.name for difference in before} >= {"steps per unit", "acceleration"}
    assert bench.device.settings[f"M92 {letter}"] == pytest.approx(133.333, abs=1e-4)
    assert bench.device.motion_log == ()
    record = bench.run()
    assert set(record.step_errors) == {0}
    landed(bench)
    bench.device.hardware_reset(bench.clock.monotonic())  # what was written was stored; zero is where it stands
    assert bench.device.settings[f"M92 {letter}"] == pytest.approx(133.333, abs=1e-4)
    with bench.open() as controller:
        controller.restore_settings(tmp_path / "old.json")
    bench.device.hardware_reset(bench.clock.monotonic())
    assert {key: bench.device.settings[key] for key in stored} == pytest.approx(stored)


def test_writing_only_the_acceleration_later_keeps_the_scale_known_in_full(tmp_path: Path) -> None:
    """The board prints 26.67; the run needs the 26.667 that was written."""
    bench = NumberedBench(tmp_path, small_setup(), NUMBERED_LINE_BOARDS["plain"], known=False, away=0)
    gentle = changed_setup("shaft-scale", index={"acceleration": "2 rad/s^2", "finish": "stay", "settle": "0.25 s"})
    plan = plan_job(replace(gentle, machine=bench.machine))
    with bench.open() as controller:
        write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
        assert "M92 A" not in wanted_changes(bench.machine, plan, controller, bench.scales)
    with bench.open() as controller:  # what it prints is all that this one knows of the scale
        write_for_plan(bench.machine, plan, controller, bench.scales, tmp_path / "older.json")
        # 2 rad/s^2 are 114.59 deg/s^2; a board of no known kind may keep whole numbers, so it is rounded down
        assert bench.device.settings["M201 A"] == 114.0
        assert bench.scales.recall(controller.url, controller.settings) == Fraction("26.667")


# --- stopping and resuming -----------------------------------------------------------------------------------------


@pytest.mark.some(3)
@pytest.mark.parametrize("name", ["plain", "hasty", "blind", "per-minute"])
@pytest.mark.parametrize("phase", ["settling", "gate-open"])
def test_a_run_stopped_at_a_standstill_is_resumed_where_it_stands(name: str, phase: Phase, tmp_path: Path) -> None:
    bench = NumberedBench(tmp_path, small_setup(passes=1), NUMBERED_LINE_BOARDS[name])
    bench.at(phase, lambda: bench.stop.ask("by the test"), rests=1)
    with pytest.raises(RunStoppedError, match="by the test"):
        bench.run()
    bench.resume(done=True)
    targets = bench.plan.route.segment_targets().tolist()
    assert all(true == planned for _, planned, _, true in bench.progress.rests)
    assert bench.steps == bench.progress.origin  # the job ends at its zero
    assert {planned for _, planned, _, _ in bench.progress.rests} == set(targets)
    bench.never_open_while_moving(settled=False)


def long_indexes(tmp_path: Path, variant: NumberedLineVariant) -> NumberedBench:
    """At five degrees a second each index of 20 deg takes 4 s, and goes in pieces."""
    setup = changed_setup(
        "shaft-scale",
        mark={"angle": "60 deg", "passes": 1},
        segments={"count": 3},
        index={"finish": "unwind", "speed": "5 deg/s", "settle": "0.25 s"},
    )
    return NumberedBench(tmp_path, setup, variant)


def stopped_on_its_way(bench: NumberedBench, stop: Callable[[], None], match: str) -> None:
    """A run that `stop` ends on the way to its second segment: it stands within a second, between the two."""
    asked: list[float] = []

    def act() -> None:
        asked.append(bench.clock.monotonic())
        stop()

    bench.at("moving", act, rests=1)
    with pytest.raises((RunStoppedError, PortLostError), match=match):
        bench.run()
    bench.clock.sleep(10.0)
    assert not bench.moving
    assert bench.device.motion_log[-1].end_s - asked[0] < 1.0
    targets = bench.plan.route.segment_targets().tolist()
    assert bench.progress.origin is not None
    assert targets[0] < bench.steps - bench.progress.origin < targets[1]


@pytest.mark.some(3)
@pytest.mark.parametrize("name", ["plain", "blind", "per-minute", "hasty", "listing", *RECORDED])
def test_a_run_stopped_while_moving_is_resumed_from_where_its_count_says(name: str, tmp_path: Path) -> None:
    bench = long_indexes(tmp_path, BOARDS[name])
    stopped_on_its_way(bench, lambda: bench.stop.ask("by the test"), "by the test")
    status = run_status(bench.folder)
    assert (status.place, status.stands_still) == (Place.AS_LEFT, True)
    assert bench.resume().outcome == "done"
    landed(bench)
    assert bench.steps == bench.progress.origin


@pytest.mark.parametrize("name", ["plain", "hasty", *RECORDED])
def test_a_cable_pulled_on_the_way_ends_the_move_and_the_run_is_resumed_from_there(name: str, tmp_path: Path) -> None:
    """Where opening the port doesn't reset the board: else its count is gone, and the run asks."""
    bench = long_indexes(tmp_path, BOARDS[name])
    stopped_on_its_way(bench, bench.port.pull_cable, "the cable is pulled")
    bench.port.lost = False
    assert bench.resume().outcome == "done"
    landed(bench)
    assert bench.steps == bench.progress.origin
