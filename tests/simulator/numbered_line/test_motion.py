"""Motion: durations in closed form, positions in 32-bit floats against numpy, limits, scale, zero and home."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.simulator.far_out import targets_one_step_off
from tests.simulator.numbered_line.bench import NumberedBench
from tests.support.board_faults import forget_motion

FAST = {"M92 A": 10.0, "M203 A": 1e9, "M201 A": 1e9, "M204 T": 1e9}


@pytest.mark.parametrize(
    ("distance", "feed", "rate", "acceleration"),
    [(10.0, 3000.0, 100.0, 500.0), (1.0, 6000.0, 100.0, 500.0), (90.0, 1e5, 30.0, 200.0), (5.0, 600.0, 100.0, 5000.0)],
    ids=["trapezoid", "triangle", "rate-limited", "m204-limited"],
)
def test_a_move_takes_as_long_as_the_closed_form_says(
    distance: float, feed: float, rate: float, acceleration: float
) -> None:
    # Source: the design description's index move, t = 2 sqrt(d/a) if d <= v^2/a else d/v + v/a.
    bench = NumberedBench({"M203 A": rate, "M201 A": acceleration, "M204 T": 3000.0})
    bench.run(f"G1 A{distance} F{feed}")
    v, a = min(feed / 60, rate), min(acceleration, 3000.0)
    expected = 2 * math.sqrt(distance / a) if distance <= v * v / a else distance / v + v / a
    (interval,) = bench.device.motion_log
    assert interval.end_s - interval.start_s == pytest.approx(expected, rel=1e-6)
    assert interval.to_steps == round(distance * 100)


def test_feed_is_per_minute_and_stays_in_force_for_both_words() -> None:
    bench = NumberedBench()
    bench.run("G1A60F600", "G0A0")
    there, back = bench.device.motion_log
    assert there.end_s - there.start_s == pytest.approx(6 + 10 / 500)
    assert back.end_s - back.start_s == pytest.approx(6 + 10 / 500)


def test_a_move_that_feeds_takes_another_acceleration_than_one_that_does_not() -> None:
    bench = NumberedBench({"M201 A": 1e4, "M201 E": 1e4, "M204 P": 100.0, "M204 T": 1000.0})
    bench.run("G1A50F6000", "G1A100E0.1")
    plain, feeding = [entry for entry in bench.device.motion_log if entry.axis == "A"]
    assert plain.end_s - plain.start_s == pytest.approx(50 / 100 + 100 / 1000)
    assert feeding.end_s - feeding.start_s == pytest.approx(2 * math.sqrt(50 / 100), rel=1e-4)


def test_targets_are_rounded_to_steps_in_32_bit_floats() -> None:
    scale = np.float32(26.66667)
    bench = NumberedBench({"M92 A": 26.66667, "M203 A": 1e6, "M201 A": 1e6}, highest_step_rate=1e9)
    for target in ("0.1", "33.33", "359.9999", "1234.5678", "-77.777", "54321.09"):
        bench.run(f"G1 A{target} F1000000")
        product = float(np.float32(target) * scale)
        assert bench.steps() == int(math.copysign(math.floor(abs(product) + 0.5), product))


def test_relative_words_are_summed_in_the_same_float() -> None:
    bench = NumberedBench({"M92 A": 250.0})
    position = np.float32(607.256)
    bench.run("G0 A607.256 F6000", "G91")
    for word in ["0.01", "0.02"] * 200:
        bench.run(f"G0 A{word}")
        position = np.float32(position + np.float32(word))
    expected = int(np.floor(float(position * np.float32(250.0)) + 0.5))
    assert bench.steps() == expected
    assert bench.steps() - 151814 == 1501  # measured on two real controllers (wire description); 1500 from zero


@pytest.mark.parametrize(
    ("start", "most", "least"), [("1680000", 35, 25), ("860000", 0, 0)], ids=["16.8-million", "8.6-million"]
)
def test_far_out_targets_come_to_rest_one_step_off_and_an_offset_does_not_help(
    start: str, most: int, least: int
) -> None:
    bench = NumberedBench(FAST, highest_step_rate=1e9)
    bench.run(f"G0 A{start} F1000000000", "G92 A0")
    assert least <= targets_one_step_off(bench) <= most  # 30 of 59 on a real one, and none (physics description)


def test_the_report_gives_program_coordinates_and_the_machines_steps() -> None:
    bench = NumberedBench()
    bench.run("G0 A12.34 F6000", "G92 A5", "G0 X1")
    position, counts = bench.report()
    assert position == {"X": 1.0, "Y": 0.0, "Z": 0.0, "A": 5.0, "E": 0.0}
    assert counts == {"X": 100, "Y": 0, "Z": 0, "A": 1234}
    bench.run("G0 A6")
    assert bench.steps() == 1334


def test_an_offset_moves_the_counts_on_some_boards() -> None:
    bench = NumberedBench(offset_moves_counts=True)
    bench.run("G0 A12.34 F6000", "G92 A0")
    assert bench.report()[1]["A"] == 0
    bench.run("G0A1")
    assert bench.steps() == 1334
    assert bench.report()[1]["A"] == 100


def test_a_scale_changed_away_from_zero_leaves_the_position_or_shifts_it() -> None:
    keeping, shifting = NumberedBench(), NumberedBench(scale_change_shifts_position=True)
    for bench in (keeping, shifting):
        bench.run("G0 A90 F6000", "M92 A50")
        assert bench.steps() == 9000
    assert (keeping.report()[0]["A"], keeping.report()[1]["A"]) == (90.0, 4500)
    assert (shifting.report()[0]["A"], shifting.report()[1]["A"]) == (180.0, 9000)
    keeping.run("G0A91")
    shifting.run("G0A91")
    assert keeping.steps() == 9050
    assert shifting.steps() == 4550  # a move of 1 unit became one of 89 back


@pytest.mark.parametrize("shifts", [False, True], ids=["keeps", "shifts"])
def test_a_scale_changed_at_zero_is_harmless(shifts: bool) -> None:
    bench = NumberedBench(scale_change_shifts_position=shifts)
    bench.run("M92 A50", "G0 A10 F6000")
    assert bench.steps() == 500


def test_too_many_steps_per_second_lose_time_or_crash_the_board() -> None:
    settings = {"M92 A": 1000.0, "M203 A": 100.0, "M201 A": 100.0}
    losing = NumberedBench(settings, highest_step_rate=30_000)
    losing.run("G0 A300 F6000")
    assert losing.last_step_s() == pytest.approx(300 / 30 + 30 / 100)
    crashing = NumberedBench(settings, highest_step_rate=30_000, when_too_fast="crash")
    assert crashing.run("G0 A300 F6000") == ["ok", "start", "echo:simulated board"]
    assert crashing.last_step_s() == pytest.approx(30 / 100)
    assert crashing.steps() == 9000  # 4.5 deg of ramp, then the rotor runs on by as much
    crashing.number = 0
    assert crashing.report()[1]["A"] == 0


def test_home_finds_the_switch_and_is_machine_zero() -> None:
    bench = NumberedBench(home_switches={"A": -500}, reversed_axes="A")
    bench.run("G0 A-30 F6000")
    assert bench.steps() == 3000  # the other way round
    assert bench.run("G28 A")[-1] == "Error:Printer halted"  # 35 deg away, but in the positive direction
    found = NumberedBench(home_switches={"A": -500})
    found.run("G0 A30 F6000", "G92 A7")
    assert found.run("G28")[-1] == "ok"
    assert found.steps() == -500
    position, counts = found.report()
    assert (position["A"], counts["A"]) == (0.0, 0)
    found.run("G0A1")
    assert found.steps() == -400


def test_home_without_a_switch_moves_nothing() -> None:
    bench = NumberedBench()
    bench.run("G0 A10 F6000")
    assert bench.run("G28 A") == ["ok"]
    assert bench.steps() == 1000


def test_a_full_planner_makes_a_line_wait_for_its_ok() -> None:
    bench = NumberedBench(planner_blocks=2, busy_every_s=None)
    assert bench.ask("G1 A10 F600", 0.01) == ["ok"]
    assert bench.ask("G1 A20", 0.01) == ["ok"]
    assert bench.ask("G1 A30", 0.5) == []
    assert bench.wait(0.6) == ["ok"]
    bench.rest()
    assert bench.steps() == 3000


def test_the_motion_log_agrees_with_the_true_steps() -> None:
    bench = NumberedBench()
    bench.run("G0 A10 F6000", "G0 A-5", "G0 X3")
    log = bench.device.motion_log
    assert [(entry.axis, entry.from_steps, entry.to_steps) for entry in log] == [
        ("A", 0, 1000),
        ("A", 1000, -500),
        ("X", 0, 300),
    ]
    assert all(entry.start_s < entry.end_s for entry in log)


def test_the_motion_log_can_be_emptied_and_continues() -> None:
    bench = NumberedBench()
    bench.run("G0 A10 F6000")
    forget_motion(bench.device)
    assert bench.device.motion_log == ()
    bench.run("G0 A15")
    assert [(entry.from_steps, entry.to_steps) for entry in bench.device.motion_log] == [(1000, 1500)]


def test_inches_turn_degrees_25_times_too_far() -> None:
    bench = NumberedBench({"M92 A": 10.0})
    bench.run("G20", "G0 A10 F600")
    assert bench.steps() == 2540
