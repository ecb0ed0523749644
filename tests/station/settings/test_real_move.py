"""What a board makes of the planned moves: refused before anything moves, or planned with."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from firmware_host.controller.learned import Beyond, Fact, Learned, Source
from firmware_host.controller.numbered_line.controller import NumberedController
from firmware_host.errors import LimitExceededError, PlanError, SettingsMismatchError
from firmware_host.station.settings.compared import compare_settings
from firmware_host.station.settings.real_move import made_motion, plan_as_made, refusal
from tests.support.numbered_bench import NumberedBench
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS
from tests.support.station_bench import quick_disk, small_setup


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.fixture
def bench(tmp_path: Path) -> NumberedBench:
    return NumberedBench(tmp_path, small_setup(), NUMBERED_LINE_BOARDS["plain"])


def is_told(monkeypatch: pytest.MonkeyPatch, **values: Any) -> None:
    """These lines of what is known of the board, as if it had told them."""
    known = NumberedController.learned

    def learned(controller: NumberedController) -> Learned:
        facts = {name: Fact(value, Source.TOLD) for name, value in values.items()}
        return replace(known.__get__(controller), **facts)

    monkeypatch.setattr(NumberedController, "learned", property(learned))


def test_a_board_that_moves_as_planned_is_planned_with_as_it_was(tmp_path: Path) -> None:
    bench = NumberedBench(tmp_path, small_setup(), NUMBERED_LINE_BOARDS["plain"], stored={"M204 T": 9000.0})
    with bench.open() as controller:
        assert plan_as_made(bench.setup, bench.plan, controller) is bench.plan


def test_a_gentler_acceleration_that_governs_is_checked_and_settled_for(bench: NumberedBench) -> None:
    """The general one, 3000 units/s^2, is less than the 3444 of the axis: its ramps ring longer than planned."""
    with bench.open() as controller:
        made = plan_as_made(bench.setup, bench.plan, controller)
    assert made.limits.motion.acceleration == pytest.approx(math.radians(3000.0), rel=1e-3)
    assert made.limits.motion.timing.settle_s > bench.plan.limits.motion.timing.settle_s
    assert made.program == bench.plan.program


def test_a_jump_that_is_a_setting_is_to_be_set_down_before_anything_moves(
    bench: NumberedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand: half of 3000 is the jump here; sqrt(2 a s) is the speed after the first step, and what may be left."""
    is_told(monkeypatch, start_jump_units_per_s=1500.0, start_jump_key="M204 T")
    with bench.open() as controller:
        found = compare_settings(bench.machine, bench.plan, controller, bench.scales).needed
        scale = float(controller.settings.steps_per_unit.value)
    left = math.sqrt(2 * math.degrees(bench.plan.program.acceleration) / scale)
    (jump,) = [each for each in found if each.name == "start-speed jump"]
    assert float(jump.wanted) == pytest.approx(2 * left, rel=1e-3)
    moved = len(bench.device.motion_log)
    with pytest.raises(SettingsMismatchError, match=r"start-speed jump .M204 T.: is .* at once, wanted"):
        bench.run()
    assert len(bench.device.motion_log) == moved
    assert bench.passes_marked() == []


def test_a_jump_that_nothing_sets_and_no_limit_bears_is_refused_with_what_to_state(
    bench: NumberedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    is_told(monkeypatch, start_jump_units_per_s=500.0)
    moved = len(bench.device.motion_log)
    with pytest.raises(LimitExceededError, match=r'begins its moves at .* state link.stated.start_jump = "500 deg/s"'):
        bench.run()
    assert len(bench.device.motion_log) == moved
    assert bench.passes_marked() == []


def test_a_jump_that_the_limits_bear_is_settled_for(bench: NumberedBench, monkeypatch: pytest.MonkeyPatch) -> None:
    setup = small_setup()
    job = setup.job.model_copy(update={"index": setup.job.index.model_copy(update={"settle": None})})
    bench = NumberedBench(bench.folder.path.parent.parent / "unsettled", replace(setup, job=job), bench.board)
    is_told(monkeypatch, start_jump_units_per_s=5.0)
    with bench.open() as controller:
        made = plan_as_made(bench.setup, bench.plan, controller)
        motion = made_motion(bench.machine, bench.plan, controller)
    assert motion.start.speed == pytest.approx(math.radians(5.0), rel=1e-3)
    assert made.settle_s > bench.plan.settle_s
    assert "start-jump" in {check.name for check in made.limits.checks}
    assert bench.run().outcome == "done"


@pytest.mark.parametrize("beyond", [Beyond.REFUSED_SILENTLY, Beyond.CLIPPED, Beyond.ALARM], ids=lambda each: each.name)
def test_a_route_beyond_the_travel_that_the_board_keeps_is_refused_before_anything_moves(
    beyond: Beyond, bench: NumberedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    is_told(monkeypatch, travel_units=(0.0, 80.0), beyond_travel=beyond, travel_keys=("low", "high"))
    moved = len(bench.device.motion_log)
    with pytest.raises(
        PlanError, match=r"outside the travel that the board keeps to, 0 to 80 .* Widen that travel .low"
    ):
        bench.run()
    assert len(bench.device.motion_log) == moved


def test_a_route_within_the_travel_that_the_board_keeps_is_run(
    bench: NumberedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    is_told(monkeypatch, travel_units=(0.0, 400.0), beyond_travel=Beyond.CLIPPED)
    assert bench.run().outcome == "done"


def test_whole_turns_are_taken_back_where_the_board_keeps_to_less_than_the_route(
    bench: NumberedBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The part stands at 46 deg of 0 to 360; a mark of a third of a turn that begins at 300 deg has to come round."""
    setup = small_setup(finish="stay")
    job = setup.job
    described = job.model_dump(mode="json", exclude_none=True)
    described["mark"]["start_angle"] = "300 deg"
    bench = NumberedBench(
        bench.folder.path.parent.parent / "round",
        replace(setup, job=type(job).model_validate_json(json.dumps(described))),
        bench.board,
    )
    is_told(monkeypatch, travel_units=(0.0, 380.0), beyond_travel=Beyond.CLIPPED)
    assert bench.run().outcome == "done"
    scale = bench.device.settings[f"M92 {bench.axis}"]
    places = [travel.to_steps / scale for travel in bench.device.motion_log[bench.motion_before :]]
    assert all(0 <= place <= 380 for place in places)


def test_comparing_says_what_a_run_would_be_refused_for(bench: NumberedBench, monkeypatch: pytest.MonkeyPatch) -> None:
    with bench.open() as controller:
        assert refusal(bench.setup, bench.plan, controller) is None
    is_told(monkeypatch, travel_units=(0.0, 80.0), beyond_travel=Beyond.CLIPPED)
    with bench.open() as controller:
        assert "outside the travel that the board keeps to" in str(refusal(bench.setup, bench.plan, controller))
    is_told(monkeypatch, start_jump_units_per_s=500.0, travel_units=None)
    with bench.open() as controller:
        assert 'state link.stated.start_jump = "500 deg/s"' in str(refusal(bench.setup, bench.plan, controller))
