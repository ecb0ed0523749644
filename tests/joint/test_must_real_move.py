"""The move that a recorded board makes is the planned one, or nothing is marked: acceleration, start, travel, rate."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from firmware_host.errors import ControllerError, LimitExceededError, PlanError, SettingsMismatchError
from firmware_host.model import Machine, Setup
from firmware_host.planning.plan import plan_job
from firmware_host.planning.route.velocity import plan_index
from firmware_host.simulator.numbered_line.recorded import RECORDED
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.settings.compared import compare_settings
from firmware_host.station.settings.write import write_for_plan
from tests.support.numbered_bench import NumberedBench
from tests.support.station_bench import changed_setup, quick_disk, small_setup

A, B = "numbered-line-a", "numbered-line-b"


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def as_delivered(folder: Path, board: str, setup: Setup) -> NumberedBench:
    """A board as it is bought: nothing of it fits the machine."""
    variant = RECORDED[board]
    stored = {f"{word} X": variant.settings[f"{word} X"] for word in ("M92", "M203", "M201")}
    return NumberedBench(folder, setup, variant, stored=stored, known=False, away=0)


def written(bench: NumberedBench) -> None:
    with bench.open() as controller:
        write_for_plan(bench.machine, bench.plan, controller, bench.scales, bench.folder.path / "old.json")


def needed(bench: NumberedBench) -> dict[str, str]:
    """Names of the settings that the run may not start with, and what is wanted of each."""
    with bench.open() as controller:
        found = compare_settings(bench.machine, bench.plan, controller, bench.scales).needed
    return {each.key: each.wanted for each in found}


def is_refused(bench: NumberedBench, kind: type[Exception], match: str) -> None:
    """Nothing has moved, and nothing was marked."""
    moved = len(bench.device.motion_log)
    with pytest.raises(kind, match=match):
        bench.run()
    assert len(bench.device.motion_log) == moved
    assert bench.passes_marked() == []
    bench.folder = RunFolder.create(bench.folder.path.parent, "once more", bench.clock.now())


def took_as_planned(bench: NumberedBench) -> None:
    """The motor's own record: each long move lasts as planned, less at the most by what the start at once saves."""
    program, turn = bench.plan.program, float(bench.plan.route.per_part_turn)
    longest = 0.0
    for travel in bench.device.motion_log[bench.motion_before :]:
        angle = abs(travel.to_steps - travel.from_steps) / turn * 2 * math.pi
        planned = float(plan_index(angle, program.acceleration, program.speed).duration)
        longest = max(longest, planned)
        if planned > 0.15:
            assert travel.end_s - travel.start_s == pytest.approx(planned, rel=0.08)
    assert longest > 0.15


def gentle(**index: str) -> Setup:
    """878 deg/s^2 unless it is said, from 30 deg on: a take-up stays above the board's lower end at 0."""
    index = {"acceleration": "878 deg/s^2", "finish": "stay", **index}
    return changed_setup("shaft-scale", mark={"arc": "60 mm", "width": "90 mm", "start_angle": "30 deg"}, index=index)


def without_switch(setup: Setup) -> Setup:
    machine = setup.machine.model_dump(mode="json", exclude_none=True)
    machine["axis"]["home_switch"] = False
    return replace(setup, machine=Machine.model_validate_json(json.dumps(machine)))


def stating(setup: Setup, **stated: Any) -> Setup:
    described = setup.machine.model_dump(mode="json", exclude_none=True)
    described["link"]["stated"] = stated
    return replace(setup, machine=Machine.model_validate_json(json.dumps(described)))


# --- the acceleration that governs --------------------------------------------------------------------------------


def test_another_acceleration_than_the_governing_one_hides_nothing(tmp_path: Path) -> None:
    """The one for moves with a tool fits, and the one that governs does not: 5,000 units/s^2."""
    bench = NumberedBench(tmp_path, gentle(), RECORDED[A], stored={"M201 X": 877.9, "M202 X": 5000.0})
    assert float(needed(bench)["M202 X"]) == pytest.approx(878.0, abs=0.02)
    is_refused(bench, SettingsMismatchError, r"acceleration .M202 X.: is 5000\.000 .* wanted 877")


def test_the_governing_acceleration_is_written_and_the_moves_are_the_planned_ones(tmp_path: Path) -> None:
    bench = NumberedBench(tmp_path, gentle(), RECORDED[A], stored={"M202 X": 5000.0}, away=0)
    written(bench)
    assert bench.device.settings["M202 X"] == pytest.approx(878.0, abs=0.02)
    assert bench.run().outcome == "done"
    took_as_planned(bench)


def test_of_two_accelerations_the_smaller_one_is_planned_with_and_kept_as_whole_numbers(tmp_path: Path) -> None:
    setup = stating(gentle(acceleration="878.7 deg/s^2"), second_step_after="8.34 ms")
    bench = NumberedBench(tmp_path, setup, RECORDED[B], stored={"M201 X": 5000.0, "M204 T": 3000.0}, away=0)
    assert "M204 T" in needed(bench) or "M201 X" in needed(bench)
    written(bench)
    assert min(bench.device.settings["M201 X"], bench.device.settings["M204 T"]) == pytest.approx(878.0, abs=0.01)
    assert bench.run().outcome == "done"
    took_as_planned(bench)


def test_an_acceleration_in_force_that_is_not_told_is_found_before_anything_is_marked(tmp_path: Path) -> None:
    """As by somebody else's hand after the comparison: the first long move is quicker than planned."""
    bench = NumberedBench(tmp_path, gentle(), RECORDED[A], stored={"M202 X": 877.9, "M207 X": 10.0})
    told = bench.progress.stage

    def stage(text: str) -> None:
        told(text)
        if text.startswith("moving to segment 2"):
            bench.device.settings["M202 X"] = 10_000.0

    bench.progress.stage = stage  # type: ignore[method-assign]
    with pytest.raises(ControllerError, match=r"made a move of .* steps in 0\.\d+ s at most, .* Look at M202 X"):
        bench.run()
    assert {segment for segment, _ in bench.passes_marked()} <= {1}


# --- the start of a move --------------------------------------------------------------------------------------------


def test_a_start_speed_jump_is_set_down_before_anything_moves(tmp_path: Path) -> None:
    """By hand: 25 are 12.5 units/s at once; a ramp in whole steps has sqrt(2 a s) after its first one, 8.1 here."""
    bench = NumberedBench(tmp_path, gentle(), RECORDED[A], stored={"M202 X": 877.9}, away=0)
    is_refused(bench, SettingsMismatchError, r"start-speed jump .M207 X.: is 25\.000, which begins each move at 12\.5")
    written(bench)
    left = math.sqrt(2 * 878.0 / bench.device.settings["M92 X"])
    assert 0.99 * 2 * left <= bench.device.settings["M207 X"] <= 1.001 * 2 * left
    assert bench.run().outcome == "done"
    bench.never_open_while_moving()


def test_a_late_second_step_that_the_limits_do_not_bear_is_refused_and_planned_with_once_stated(tmp_path: Path) -> None:
    setup = turned_on(without_switch(small_setup("heavy-shaft", finish="stay")), "30 deg")
    bench = NumberedBench(tmp_path, setup, RECORDED[B], stored={"M204 T": 9000.0})
    is_refused(bench, LimitExceededError, r'torque-peak: .* state link\.stated\.second_step_after = "8\.333 ms"')
    gentler = stating(setup, second_step_after="8.34 ms")
    assert plan_job(gentler).program.acceleration < bench.plan.program.acceleration
    bench = NumberedBench(tmp_path / "stated", gentler, RECORDED[B], stored={"M204 T": 9000.0}, away=0)
    written(bench)
    assert bench.run().outcome == "done"
    bench.never_open_while_moving()


# --- travel ---------------------------------------------------------------------------------------------------------


def turned_on(setup: Setup, start: str, *, never: bool = False) -> Setup:
    job = setup.job.model_dump(mode="json", exclude_none=True)
    job["mark"]["start_angle"] = start
    machine = setup.machine.model_dump(mode="json", exclude_none=True)
    if never:
        machine["axis"]["unwind"] = "never"
    return replace(
        setup,
        job=type(setup.job).model_validate_json(json.dumps(job)),
        machine=Machine.model_validate_json(json.dumps(machine)),
    )


def test_a_route_beyond_the_travel_of_the_board_is_refused_before_anything_moves(tmp_path: Path) -> None:
    setup = turned_on(small_setup(finish="stay"), "390 deg", never=True)
    bench = NumberedBench(tmp_path, setup, RECORDED[A])
    is_refused(
        bench, PlanError, r"outside the travel that the board keeps to, 0 to 418 units, and beyond it the whole move"
    )


def test_a_route_beyond_the_travel_of_the_board_comes_round_where_the_machine_may(tmp_path: Path) -> None:
    setup = turned_on(small_setup(finish="stay"), "350 deg")
    bench = NumberedBench(tmp_path, setup, RECORDED[A])
    assert bench.run().outcome == "done"
    scale = bench.device.settings["M92 X"]
    assert all(0 <= each.to_steps / scale <= 418 for each in bench.device.motion_log[bench.motion_before :])
    bench.never_open_while_moving()


# --- units per minute -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("board", [A, B])
def test_a_board_as_delivered_makes_the_planned_moves_once_its_settings_are_written(board: str, tmp_path: Path) -> None:
    """A rate taken per minute and listed per second among them: sixty times too slow would show in every move."""
    setup = gentle(acceleration="800 deg/s^2", speed="40 deg/s")
    if board == B:
        setup = stating(setup, second_step_after="8.34 ms")
    bench = as_delivered(tmp_path, board, setup)
    is_refused(bench, SettingsMismatchError, "steps per unit .M92 X.")
    written(bench)
    assert bench.device.settings["M203 X"] == pytest.approx(40.0, rel=1e-3)
    assert bench.run().outcome == "done"
    took_as_planned(bench)
    bench.never_open_while_moving()
