"""A move of a hand at an acceleration of its own: written for it, put back after it, never beyond the limits."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest

from firmware_host.controller.settings.backup import load_backup
from firmware_host.errors import InputError, LimitExceededError
from firmware_host.model import Setup, load_job
from firmware_host.planning.by_hand import HandPlan, Pace, hand_on_job
from firmware_host.planning.load.case import load_variants
from firmware_host.station.hand.hand import HaltedError, Hand, Where
from firmware_host.station.settings.check import safe_settings
from tests.support.hand_bench import BENCHES, hand_on
from tests.support.station_bench import StationBench

QUARTER = Fraction(1, 4)


@pytest.fixture(scope="module")
def setup() -> Setup:
    return load_job("shaft-scale")


@pytest.fixture(scope="module")
def plan(setup: Setup) -> HandPlan:
    return hand_on_job(setup)


@pytest.fixture(params=BENCHES)
def bench(request: pytest.FixtureRequest, tmp_path: Path, setup: Setup) -> StationBench:
    return BENCHES[request.param](tmp_path, setup)


def planned(bench: StationBench) -> HandPlan:
    return hand_on_job(bench.setup)


def acceleration(hand: Hand) -> float:
    """As it is stored now, part rad/s^2."""
    controller = hand._tools.controller
    units = float(controller.settings.acceleration_units_per_s2.value)
    machine = hand.plan.machine
    return units * float(machine.steps_per_axis_unit / hand.plan.per_turn) * 2 * math.pi


def timed(bench: StationBench, move: Callable[[], Where]) -> float:
    began = bench.clock.monotonic()
    move()
    return bench.clock.monotonic() - began


def test_one_move_is_quicker_and_the_settings_are_as_before_behind_it(bench: StationBench, tmp_path: Path) -> None:
    plan, backup = planned(bench), tmp_path / "before.json"
    quick = Pace(5 * plan.acceleration, 4.0)
    seen: list[float] = []
    with hand_on(bench, plan, backup=backup) as hand:
        hand.set_zero("0 deg")
        before = acceleration(hand)
        hand.turn_to(QUARTER, pace=quick, on_where=lambda _: seen.append(acceleration(hand)))
        assert hand.where.microsteps == round(plan.per_turn / 4)
        assert seen[0] == pytest.approx(quick.acceleration, rel=2e-3)
        assert acceleration(hand) == before
        hand.turn_to(Fraction(0))
        assert hand.where.microsteps == 0
        hand.turn_to(-QUARTER, pace=replace_speed(quick, 2.0))
        assert acceleration(hand) == before
    assert [path.name for path in tmp_path.glob("before*.json")] == ["before.json"]
    assert load_backup(backup).settings


def replace_speed(pace: Pace, speed: float) -> Pace:
    return Pace(pace.acceleration, speed)


def test_it_takes_the_time_of_its_own_pace(bench: StationBench, tmp_path: Path) -> None:
    plan = planned(bench)
    with hand_on(bench, plan, backup=tmp_path / "before.json") as hand:
        hand.set_zero("0 deg")
        calm = timed(bench, lambda: hand.turn_to(QUARTER, pace=Pace(plan.acceleration, 0.5)))
        hand.turn_to(Fraction(0))
        usual = timed(bench, lambda: hand.turn_to(QUARTER))
    assert calm > 2 * usual
    assert calm > math.pi / 2 / 0.5


def test_a_pace_of_the_plans_own_acceleration_writes_nothing(bench: StationBench, tmp_path: Path) -> None:
    plan, backup = planned(bench), tmp_path / "before.json"
    with hand_on(bench, plan, backup=backup) as hand:
        hand.set_zero("0 deg")
        hand.turn_to(QUARTER, pace=Pace(plan.acceleration, 0.5))
    assert not backup.exists()


def test_a_hand_that_may_not_write_settings_refuses_before_anything_moves(bench: StationBench) -> None:
    plan = planned(bench)
    with hand_on(bench, plan) as hand:
        hand.set_zero("0 deg")
        with pytest.raises(InputError, match="needs the controller's settings written"):
            hand.turn_to(QUARTER, pace=Pace(2 * plan.acceleration, 2.0))
        assert hand.where.microsteps == 0


def test_what_the_limits_do_not_allow_is_refused_before_a_setting_is_written(
    bench: StationBench, tmp_path: Path
) -> None:
    plan, backup = planned(bench), tmp_path / "before.json"
    with hand_on(bench, plan, backup=backup) as hand:
        hand.set_zero("0 deg")
        with pytest.raises(LimitExceededError, match="exceeds its limits"):
            hand.turn_to(QUARTER, pace=Pace(40 * plan.acceleration, 10.0))
        assert hand.where.microsteps == 0
    assert not backup.exists()


def test_a_move_that_is_halted_or_broken_off_leaves_the_settings_as_before(bench: StationBench, tmp_path: Path) -> None:
    plan = planned(bench)
    quick = Pace(3 * plan.acceleration, 3.0)

    def halt(_: Where) -> None:
        raise HaltedError

    def interrupt(_: Where) -> None:
        raise KeyboardInterrupt

    with hand_on(bench, plan, backup=tmp_path / "before.json") as hand:
        hand.set_zero("0 deg")
        before = acceleration(hand)
        hand.turn_to(QUARTER, pace=quick, on_where=halt)
        assert acceleration(hand) == before
    hands: list[Hand] = []

    def broken_off() -> None:
        with hand_on(bench, plan, backup=tmp_path / "again.json") as hand:
            hands.append(hand)
            hand.set_zero("0 deg")
            hand.turn_to(QUARTER, pace=quick, on_where=interrupt)

    with pytest.raises(KeyboardInterrupt):
        broken_off()
    assert acceleration(hands[0]) == before


def test_the_quickest_pace_keeps_the_reserve_and_is_allowed_at_any_part_of_itself(plan: HandPlan) -> None:
    quickest = plan.quickest(QUARTER)
    steps = round(plan.per_turn / 4)
    assert quickest.acceleration > plan.acceleration
    for share in (1.0, 0.9, 0.7, 0.5, 0.25):
        plan.require_pace(steps, Pace(share * quickest.acceleration, share * quickest.speed))
    load = load_variants(plan.setup.machine, plan.setup.job).unkind.load
    steady, each = load.torque_line
    torque = (steady + each * quickest.acceleration) * load.safety_factor
    assert torque == pytest.approx(0.8 * float(load.pull_out(quickest.speed)), rel=0.02)
    with pytest.raises(LimitExceededError, match="exceeds its limits"):
        plan.require_pace(steps, Pace(1.3 * quickest.acceleration, quickest.speed))


def test_what_was_tried_before_does_not_bound_what_is_tried_anew(setup: Setup) -> None:
    tried = setup.with_values({"ramp.acceleration": "5 rad/s^2", "ramp.speed": "1 rad/s"})
    plan = hand_on_job(tried)
    assert plan.acceleration < 5.01
    assert plan.quickest(QUARTER).acceleration == pytest.approx(hand_on_job(setup).quickest(QUARTER).acceleration)
    assert safe_settings(plan.machine, plan.plan).acceleration
