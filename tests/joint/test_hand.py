"""A hand on the boards of both dialects, in virtual time: it lands on its microstep and never beyond the limits."""

from __future__ import annotations

import math
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firmware_host.errors import (
    InputError,
    MotorReleasedError,
    PlanError,
    SettingsMismatchError,
    ZeroNotSaidError,
)
from firmware_host.station.hand.hand import HaltedError, Hand, Where
from firmware_host.station.hand.steps import ANGLES, Step
from firmware_host.station.stop_request import StopAskedError
from tests.support.hand_bench import BENCHES, hand_on
from tests.support.station_bench import AWAY_STEPS, StationBench, quick_disk, small_setup

DIALECTS = pytest.mark.parametrize("dialect", BENCHES)


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def bench_of(dialect: str, path: Path, job: str = "shaft-scale") -> StationBench:
    return BENCHES[dialect](path, small_setup(job))


def after(where: list[Where], number: int) -> None:
    """Halts at that report of a move."""
    if len(where) >= number:
        raise HaltedError


@DIALECTS
def test_steps_add_up_exactly_and_every_place_is_proved(dialect: str, tmp_path: Path) -> None:
    bench = bench_of(dialect, tmp_path)
    with hand_on(bench) as hand:
        per_turn = hand.plan.per_turn
        for _ in range(10):
            hand.turn_by("0.1 deg")
        assert hand.where.microsteps == round(per_turn / 360) == bench.steps - AWAY_STEPS
        hand.turn_by("3 microsteps", back=True)
        assert bench.steps - AWAY_STEPS == round(per_turn / 360) - 3
        where = hand.turn_to("-90 deg")
        assert (where.microsteps, where.still, where.zero) == (round(-per_turn / 4), True, "none")
        around = hand.turn_by("10 mm").degrees + 90
        assert around == pytest.approx(math.degrees(10 / 25), abs=0.04)
    assert not bench.moving


@DIALECTS
@pytest.mark.parametrize("straight", [pytest.param(True, id="straight"), pytest.param(False, id="as usual")])
def test_a_place_is_come_to_from_the_side_that_is_asked_for(dialect: str, straight: bool, tmp_path: Path) -> None:
    """The machine's file has lost motion: it is taken up from below, unless somebody wants to see it."""
    bench = bench_of(dialect, tmp_path)
    with hand_on(bench) as hand:
        hand.turn_to("30 deg")
        hand.turn_to("0 deg", straight=straight)
        last = bench.device.motion_log[-1]
        assert (last.to_steps < last.from_steps) == straight
        assert bench.steps == AWAY_STEPS


@DIALECTS
def test_another_key_stops_a_move_where_it_is(dialect: str, tmp_path: Path) -> None:
    bench = bench_of(dialect, tmp_path)
    with hand_on(bench) as hand:
        seen: list[Where] = []

        def look(where: Where) -> None:
            seen.append(where)
            after(seen, 5)

        where = hand.turn_by("90 deg", on_where=look)
        assert not bench.moving
        assert not any(each.still for each in seen)
        assert where.still
        true = bench.steps - AWAY_STEPS
        assert 0 < true < hand.plan.per_turn / 4
        assert (where.microsteps, where.zero) == (true, "none")
        at = bench.steps
        assert bench.steps == at
        assert hand.turn_by("1 deg").microsteps - where.microsteps == round(hand.plan.per_turn / 360)


@DIALECTS
def test_ctrl_c_stops_the_axis_and_ends_the_hand(dialect: str, tmp_path: Path) -> None:
    bench = bench_of(dialect, tmp_path)
    seen: list[Where] = []

    def look(where: Where) -> None:
        seen.append(where)
        if len(seen) == 4:
            bench.stop.ask("Ctrl-C")

    with pytest.raises(StopAskedError, match="Ctrl-C"), hand_on(bench) as hand:
        hand.turn_by("90 deg", on_where=look)
    assert not bench.moving
    assert 0 < bench.steps - AWAY_STEPS < 2400


@DIALECTS
def test_a_run_begins_at_the_zero_that_was_set_by_hand_without_asking(dialect: str, tmp_path: Path) -> None:
    bench = bench_of(dialect, tmp_path)
    with hand_on(bench) as hand:
        hand.turn_by("30 deg")
        hand.set_zero("10 deg", place="the start mark")
        turned = hand.turn_by("5 deg", back=True)
    zero = bench.steps - turned.microsteps
    assert turned.microsteps == round(Fraction(5, 360) * hand.plan.per_turn)
    assert bench.run().outcome == "done"
    assert bench.steps == zero, "the job unwinds to its zero"
    bench.new_folder()
    assert bench.run().outcome == "done", "and the next run takes it where that one left the part"


def test_a_zero_that_was_set_for_one_job_is_not_taken_silently_for_another(tmp_path: Path) -> None:
    bench = bench_of("status-query", tmp_path)
    with hand_on(bench) as hand:
        hand.turn_by("30 deg")
        hand.set_zero()
        hand.turn_by("5 deg")
    other = bench.setup.job.model_copy(update={"name": "another"})
    bench.setup = type(bench.setup)(other, bench.machine)
    with pytest.raises(ZeroNotSaidError, match=r"a zero was set by hand for the job 'graduated") as refused:
        bench.run()
    assert [getattr(act, "zero", "") for act in refused.value.acts] == ["set", "here"]
    zero = bench.steps - hand.where.microsteps
    assert bench.run(zero="set").outcome == "done"
    assert bench.steps == zero


@DIALECTS
def test_what_a_released_motor_leaves_behind_proves_no_zero(dialect: str, tmp_path: Path) -> None:
    bench = bench_of(dialect, tmp_path)
    assert bench.run().outcome == "done"
    with hand_on(bench) as hand:
        assert hand.where.zero == "last"
        hand.turn_by("30 deg")
        hand.set_zero()
        released = hand.release()
        assert (released.energised, released.still) == (False, False)
        assert bench.device.released_at(bench.clock.monotonic())
        with pytest.raises(MotorReleasedError, match="hold it before"):
            hand.turn_by("1 deg")
        again = hand.hold()
        assert (again.energised, again.zero, again.microsteps) == (True, "none", 0)
        assert not bench.device.released_at(bench.clock.monotonic())
        hand.turn_by("1 deg")
    bench.new_folder()
    with pytest.raises(ZeroNotSaidError, match="the motor was released by hand"):
        bench.run()


@DIALECTS
def test_the_last_runs_zero_stays_known_while_a_hand_turns_the_part(dialect: str, tmp_path: Path) -> None:
    bench = bench_of(dialect, tmp_path)
    assert bench.run().outcome == "done"
    zero = bench.steps
    for _ in range(2):  # one hand after the other
        with hand_on(bench) as hand:
            assert hand.where.zero == "last"
            hand.turn_by("7 deg")
    bench.new_folder()
    with pytest.raises(
        ZeroNotSaidError, match=r"the part stands 14\.\d* deg from that run's zero, turned there by hand"
    ):
        bench.run()
    with hand_on(bench) as hand:
        hand.turn_to("0 deg")
    assert bench.steps == zero
    assert bench.run().outcome == "done", "back at the zero nothing is left to ask"
    bench.new_folder()
    with hand_on(bench) as hand:
        hand.turn_by("50 deg")
    assert bench.run(zero="last").outcome == "done"
    assert bench.steps == zero


def test_a_hand_is_refused_where_the_controller_could_be_quicker_than_the_job(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup(), stored={"$120": 100000.0, "$123": 100000.0})
    with pytest.raises(SettingsMismatchError, match="acceleration"), hand_on(bench):
        pass
    assert bench.steps == AWAY_STEPS


def test_a_place_outside_of_the_travel_is_refused_and_the_hand_stays_open(tmp_path: Path) -> None:
    setup = small_setup().with_values({"axis.travel": {"lowest": "-10 deg", "highest": "100 deg"}})
    bench = StationBench(tmp_path, setup)
    with hand_on(bench) as hand:
        with pytest.raises(PlanError, match="travel"):
            hand.turn_by("90 deg")
        with pytest.raises(InputError, match="says no angle"):
            hand.turn_by("far")
        assert hand.turn_by("1 deg").degrees == pytest.approx(1, abs=0.02)


STEPS = st.tuples(st.sampled_from(ANGLES), st.booleans(), st.sampled_from([0, 0, 0, 3]))


@pytest.mark.some(1)
@pytest.mark.parametrize("job", ["shaft-scale", "bottle-band", "tumbler-wrap"])
@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=st.lists(STEPS, min_size=1, max_size=6))
def test_whatever_is_pressed_it_lands_on_its_microstep_within_speed_and_acceleration(
    job: str, steps: list[tuple[Step, bool, int]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    bench = StationBench(tmp_path_factory.mktemp("hand"), small_setup(job))
    with hand_on(bench) as hand:
        wished = Fraction(0)
        for step, back, halt in steps:
            seen: list[Where] = []

            def look(where: Where, seen: list[Where] = seen, halt: int = halt) -> None:
                seen.append(where)
                if halt:
                    after(seen, halt)

            before = hand.where.microsteps
            where = hand.turn_by(step, back=back, on_where=look)
            sign = -1 if back else 1
            by_step = step.turns is None
            aim = (before + sign * step.microsteps) / hand.plan.per_turn if by_step else wished + sign * step.turns
            assert bench.steps - AWAY_STEPS == where.microsteps
            assert not bench.moving
            if halt and len(seen) >= halt:
                wished = where.microsteps / hand.plan.per_turn
            else:
                wished = aim
                assert where.microsteps == round(aim * hand.plan.per_turn)
        never_quicker(bench, hand)


def never_quicker(bench: StationBench, hand: Hand) -> None:
    """The motor's own record: between any two instants no more than the limits allow."""
    per_step = 2 * math.pi / float(hand.plan.per_turn)
    speed = hand.plan.most_speed / per_step
    for travel in bench.device.motion_log[bench.motion_before :]:
        steps, took_s = abs(travel.to_steps - travel.from_steps), travel.end_s - travel.start_s
        least_s = 2 * math.sqrt(steps * per_step / hand.plan.acceleration) if steps else 0.0
        assert steps <= speed * took_s * (1 + 1e-6) + 1
        assert (
            took_s >= least_s * (1 - 1e-3) - 1e-3 or steps * per_step > hand.plan.most_speed**2 / hand.plan.acceleration
        )


def test_a_stop_request_that_is_there_already_lets_nothing_move(tmp_path: Path) -> None:
    bench = bench_of("status-query", tmp_path)
    with hand_on(bench) as hand:
        bench.stop.ask("before")
        with pytest.raises(StopAskedError, match="before"):
            hand.turn_by("1 deg")
    assert bench.steps == AWAY_STEPS
