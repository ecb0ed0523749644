from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruckig import InputParameter, Ruckig, Trajectory

from firmware_host.simulator.axis.motion import Block, MotionKernel
from firmware_host.simulator.axis.straight_move import starting
from firmware_host.simulator.axis.velocity import block_phases
from tests.simulator.bench import Bench
from tests.support.board_faults import counter_at

ROTARY = {"$103": 80.0, "$113": 3600.0, "$123": 200.0}
"""80 steps/deg, 60 deg/s, 200 deg/s^2: a move reaches its rate after 9 deg and needs 18 deg to do so and stop."""


def closed_form_s(distance: float, speed: float, acceleration: float) -> float:
    """Physics, "The index move": 2*sqrt(d/a) for a triangle, d/v + v/a for a trapezoid."""
    if distance <= speed**2 / acceleration:
        return 2 * math.sqrt(distance / acceleration)
    return distance / speed + speed / acceleration


def block(length: float, speed: float, acceleration: float, steps: int = 1000) -> Block:
    sign = 1.0 if steps > 0 else -1.0
    return Block((steps,), (1,), (sign,), length, speed, acceleration)


@pytest.mark.parametrize("distance", [0.0125, 1.0, 17.9875, 18.0, 18.0125, 90.0, 360.0], ids=str)
@pytest.mark.parametrize("sign", [1, -1], ids=["forward", "backward"])
def test_a_move_lasts_as_long_as_the_closed_form_says(distance: float, sign: int) -> None:
    bench = Bench(ROTARY)
    bench.run(f"G0A{sign * distance}")
    (interval,) = bench.device.motion_log
    assert interval.end_s - interval.start_s == pytest.approx(closed_form_s(distance, 60, 200), rel=1e-9)
    assert (interval.axis, interval.from_steps, interval.to_steps) == ("A", 0, sign * distance * 80)


@settings(max_examples=15, deadline=None)
@given(st.floats(0.01, 400), st.floats(1, 200), st.floats(10, 5000))
def test_durations_agree_with_a_trajectory_planner(distance: float, speed: float, acceleration: float) -> None:
    # Source: ruckig without a jerk limit (Berscheid and Kroeger, "Jerk-limited real-time trajectory generation", 2021).
    wanted = InputParameter(1)
    wanted.target_position, wanted.max_velocity, wanted.max_acceleration = [distance], [speed], [acceleration]
    trajectory = Trajectory(1)
    Ruckig(1).calculate(wanted, trajectory)
    kernel = MotionKernel("A", 0.0)
    kernel.queue(block(distance, speed, acceleration), 0.0)
    kernel.advance(1e9)
    assert kernel.last_end_s == pytest.approx(trajectory.duration, rel=1e-6)


@given(
    st.floats(0, 50), st.floats(0, 50), st.floats(50, 80), st.floats(20, 500), st.floats(0, 1), st.floats(0.001, 1000)
)
def test_a_profile_is_continuous_and_keeps_its_limits(
    entry: float, leave: float, highest: float, acceleration: float, behind: float, spare: float
) -> None:
    length = behind + abs(entry**2 - leave**2) / (2 * acceleration) + spare
    phases = block_phases(3.0, behind, length, (entry, highest, leave), acceleration)
    assert (phases[0].start_s, phases[0].from_length, phases[0].entry) == (3.0, behind, entry)
    assert (phases[-1].to_length, phases[-1].exit, phases[-1].ends_block) == (length, leave, True)
    for before, after in pairwise(phases):
        assert after.start_s == before.end_s
        assert after.from_length == before.to_length
        assert after.entry == before.exit
    for phase in phases:
        assert phase.exit <= highest * (1 + 1e-9)
        assert abs(phase.exit - phase.entry) <= acceleration * phase.duration_s * (1 + 1e-9) + 1e-9
        moved = (phase.entry + phase.exit) / 2 * phase.duration_s
        assert phase.to_length - phase.from_length == pytest.approx(moved, rel=1e-6, abs=1e-6)


def test_the_position_inside_a_move_follows_the_formula() -> None:
    bench = Bench(ROTARY, ok_delay_s=0.0)
    bench.write("G0A90\n")
    bench.wait(0.2)
    assert bench.steps() == int(80 * 200 * 0.2**2 / 2)
    bench.wait(0.3)
    assert bench.steps() == int(80 * (9 + 60 * 0.2) + 1e-6)


def test_moves_in_one_direction_go_through_at_speed() -> None:
    bench = Bench(ROTARY, ok_delay_s=0.0)
    bench.write("G0A30\nA60\nA90\n")
    bench.settle()
    (interval,) = bench.device.motion_log
    assert interval.end_s - interval.start_s == pytest.approx(closed_form_s(90, 60, 200), rel=1e-9)
    assert interval.to_steps == 7200


def test_a_slower_move_behind_a_quicker_one_is_entered_at_its_own_speed() -> None:
    bench = Bench(ROTARY, ok_delay_s=0.0)
    bench.write("G1F3600A40\nG1F1200A50\n")
    bench.settle()
    whole_s = bench.last_step_s()
    # 9 deg up to 60 deg/s, cruise, (60^2-20^2)/400 = 8 deg down to 20 deg/s, then 10 deg of which 1 to a stop.
    expected_s = 60 / 200 + (40 - 9 - 8) / 60 + (60 - 20) / 200 + (10 - 1) / 20 + 20 / 200
    assert whole_s == pytest.approx(expected_s, rel=1e-9)


def test_a_reversal_stops_and_makes_two_intervals() -> None:
    bench = Bench(ROTARY, ok_delay_s=0.0)
    bench.write("G0A30\nA10\n")
    bench.settle()
    there, back = bench.device.motion_log
    assert there.end_s - there.start_s == pytest.approx(closed_form_s(30, 60, 200), rel=1e-9)
    assert back.end_s - back.start_s == pytest.approx(closed_form_s(20, 60, 200), rel=1e-9)
    assert (there.to_steps, back.from_steps, back.to_steps) == (2400, 2400, 800)


def test_a_move_of_two_axes_keeps_both_to_their_limits() -> None:
    bench = Bench({**ROTARY, "$100": 100.0, "$110": 600.0, "$120": 50.0})
    bench.run("G0X30A40")
    # Along (0.6, 0.8): X allows 10/0.6 = 16.7 and 50/0.6 = 83.3, A 60/0.8 = 75 and 200/0.8 = 250.
    expected_s = closed_form_s(50, 10 / 0.6, 50 / 0.6)
    first, second = bench.device.motion_log
    assert {first.axis, second.axis} == {"X", "A"}
    assert first.end_s - first.start_s == pytest.approx(expected_s, rel=1e-9)
    assert (bench.steps("X"), bench.steps("A")) == (3000, 3200)


def test_inverse_time_feed_sets_the_duration_of_the_line() -> None:
    bench = Bench({**ROTARY, "$123": 1e6})
    bench.run("G93", "G1A40F30")
    (interval,) = bench.device.motion_log
    assert interval.end_s - interval.start_s == pytest.approx(60 / 30, abs=1e-3)


def test_a_feed_word_limits_a_move_and_a_rate_limits_a_feed_word() -> None:
    slow = Bench(ROTARY)
    slow.run("G1F600A30")
    assert slow.last_step_s() == pytest.approx(closed_form_s(30, 10, 200), rel=1e-9)
    quick = Bench(ROTARY)
    quick.run("G1F99999A30")
    assert quick.last_step_s() == pytest.approx(closed_form_s(30, 60, 200), rel=1e-9)


def test_a_hold_slows_down_at_the_acceleration_and_keeps_the_rest() -> None:
    bench = Bench(ROTARY, ok_delay_s=0.0)
    bench.write("G0A90\n")
    bench.wait(0.5)
    bench.write("!")
    assert bench.state() == "Hold:1"
    bench.settle()
    held_after_s = bench.last_step_s() - 0.5
    assert held_after_s == pytest.approx(60 / 200, rel=1e-9)
    assert bench.steps() == int(80 * (21 + 9) + 1e-6)
    assert bench.state() == "Hold:0"
    start_s = bench.now_s
    bench.write("~")
    bench.settle()
    assert bench.steps() == 7200
    assert bench.last_step_s() - start_s == pytest.approx(closed_form_s(60, 60, 200), rel=1e-9)


def test_a_hold_near_a_corner_of_collinear_moves_stops_in_the_next_block() -> None:
    bench = Bench(ROTARY, ok_delay_s=0.0)
    bench.write("G0A30\nA90\n")
    bench.wait(0.3 + (30 - 9 - 3) / 60)
    bench.write("!")
    bench.settle()
    assert bench.steps() == pytest.approx(80 * 36, abs=1)
    bench.write("~")
    bench.settle()
    assert bench.steps() == 7200


def test_a_hold_while_slowing_down_anyway_stops_at_the_end_of_the_move() -> None:
    bench = Bench(ROTARY, ok_delay_s=0.0)
    bench.write("G0A90\n")
    bench.wait(closed_form_s(90, 60, 200) - 0.1)
    bench.write("!")
    bench.settle()
    assert bench.steps() == 7200
    assert bench.state() == "Hold:0"


def test_a_motor_cut_off_at_speed_runs_on_by_its_ramp() -> None:
    kernel = MotionKernel("A", 0.0)
    kernel.queue(block(90, 60, 200, steps=7200), 0.0)
    kernel.abort(0.5)
    assert kernel.counters_at(0.5) == (1680,)
    assert kernel.shafts_at(0.5) == (1680 + 80 * 9,)
    assert [(i.from_steps, i.to_steps, i.end_s) for i in kernel.log] == [(0, 2400, 0.5)]


def test_a_direction_bit_turns_the_motor_the_other_way_and_the_counter_not() -> None:
    bench = Bench({**ROTARY, "$3": 8})
    bench.run("G0A30")
    assert bench.steps() == -2400
    assert counter_at(bench.device, "A", bench.now_s) == 2400
    assert bench.position() == 30.0


def test_an_hour_of_motion_is_a_handful_of_events() -> None:
    bench = Bench({"$103": 10.0, "$113": 60.0, "$123": 10.0})
    bench.run("G0A3600")
    assert bench.last_step_s() == pytest.approx(3600.1, rel=1e-9)
    assert bench.steps() == 36000
    assert bench.events < 20


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(-500, 500), min_size=1, max_size=12), st.lists(st.floats(0.001, 2), max_size=4))
def test_holds_anywhere_in_any_program_lose_no_step(targets: list[int], pauses: list[float]) -> None:
    bench = Bench({"$103": 10.0, "$113": 600.0, "$123": 100.0}, ok_delay_s=0.0)
    bench.write("".join(f"G0A{target / 10}\n" for target in targets))
    for pause_s in pauses:
        bench.wait(pause_s)
        bench.write("!")
        bench.settle()
        bench.write("~")
    bench.settle()
    assert bench.steps() == targets[-1]
    log = bench.device.motion_log
    for before, after in pairwise(log):
        assert before.end_s <= after.start_s
        assert before.to_steps == after.from_steps


@settings(max_examples=20, deadline=None)
@given(
    st.lists(st.integers(-400, 400).filter(bool), min_size=1, max_size=6),
    st.floats(0.1, 20),
    st.floats(5, 60),
    st.floats(20, 5000),
    st.sampled_from([0.0, 120.0]),
)
def test_moves_that_start_at_a_speed_or_late_make_all_their_steps_and_none_backward(
    steps: list[int], start_speed: float, speed: float, acceleration: float, first_step_rate: float
) -> None:
    kernel = MotionKernel("A", 0.0, bunches=((500.0, 2), (1500.0, 4)))
    for count in steps:
        one = block(abs(count) / 50, speed, acceleration, count)
        kernel.queue(starting(one, start_speed, first_step_rate), 0.0)
    end_s, at, turned = kernel.planned_end_s(), 0, 0
    for tick in range(1, 200):
        kernel.advance(end_s * tick / 200)
        made = kernel.counters_at(end_s * tick / 200)[0]
        turned += abs(made - at)
        at = made
    kernel.advance(end_s)
    assert kernel.counters_at(end_s) == (sum(steps),)
    assert turned + abs(sum(steps) - at) <= sum(map(abs, steps))
    assert kernel.shafts_at(end_s) == (sum(steps),)


@pytest.mark.parametrize(("start_speed", "speed"), [(12.5, 100.0), (2.5, 100.0), (40.0, 30.0)], ids=str)
def test_a_move_with_a_start_speed_lasts_as_long_as_the_closed_form_says(start_speed: float, speed: float) -> None:
    kernel = MotionKernel("A", 0.0)
    kernel.queue(starting(block(100.0, speed, 500.0), start_speed), 0.0)
    slow = min(start_speed, speed)
    ramps = (speed**2 - slow**2) / 500.0
    assert kernel.planned_end_s() == pytest.approx(2 * (speed - slow) / 500.0 + (100.0 - ramps) / speed)


def test_the_second_step_of_a_late_start_comes_late_once_and_not_in_the_middle_of_a_train_of_moves() -> None:
    alone, train = MotionKernel("A", 0.0), MotionKernel("A", 0.0)
    alone.queue(starting(block(20.0, 50.0, 500.0, 1000), 0.0, 120.0), 0.0)
    for _ in range(4):
        train.queue(starting(block(5.0, 50.0, 500.0, 250), 0.0, 120.0), 0.0)
    assert train.planned_end_s() == pytest.approx(alone.planned_end_s(), abs=0.003)
    for kernel in (alone, train):
        kernel.advance(1 / 120 - 1e-6)
        assert kernel.counters_at(1 / 120 - 1e-6) == (1,)
        kernel.advance(1 / 120 + 0.004)
        assert kernel.counters_at(1 / 120 + 0.004)[0] > 1
