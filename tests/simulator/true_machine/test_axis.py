"""The true machine on the wires of simulated boards: what it follows, and what can be read of it."""

from __future__ import annotations

import math
from random import Random
from typing import Any

import numpy as np
import pytest

from firmware_host.errors import InputError
from firmware_host.model import load_machine
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.device import SimulatedDevice
from firmware_host.simulator.true_machine.axis import PICTURES_PER_S, TrueAxis
from firmware_host.simulator.true_machine.description import TrueMachine
from firmware_host.simulator.true_machine.field import field_of, ramp
from firmware_host.simulator.true_machine.loading import load_true_machine
from firmware_host.simulator.true_machine.reading import Reader, pulses_per_turn
from firmware_host.simulator.true_machine.rotor import rotor_of
from tests.simulator.true_machine.machines import BELT, true_machine

PER_TURN = 200 * 16 * 3
LOAD = {"inertia": "10 kg*cm^2"}
LINES = {"status-query": "G90 G1 A{} F{}\n", "numbered-line": "G90\nG1 A{} F{}\n"}


def _axis(**tables: Any) -> TrueAxis:
    return TrueAxis(true_machine(**({"load": LOAD} | tables)), BELT, Random(1))


def _turn(axis: TrueAxis, pulses: int, acceleration: float = 20_000.0, speed: float = 4000.0) -> None:
    axis.follow(ramp(pulses, acceleration, speed, base=axis.pulses, start_s=_next_start(axis)))


def _next_start(axis: TrueAxis) -> float:
    return 10.0 * (1 + abs(axis.pulses)) + Random(axis.pulses).random()


def _board(dialect: str, axis: TrueAxis) -> SimulatedDevice:
    return simulated_device(BELT, delivered=False, start_s=0.0, dialect=dialect, true_axis=axis)


@pytest.mark.parametrize("dialect", sorted(LINES))
def test_it_turns_as_far_as_the_boards_pulses_say(dialect: str) -> None:
    axis = _axis()
    board = _board(dialect, axis)
    now_s = 5.0
    for degrees in (90.0, 37.5, -400.0, 0.0):
        board.transmit(now_s)
        board.receive(LINES[dialect].format(degrees, 2400).encode(), now_s)
        now_s += 60.0
        board.transmit(now_s)
        assert axis.pulses == board.steps_at("A", now_s) == round(degrees / 360 * PER_TURN)
        assert math.degrees(axis.part_angle) == pytest.approx(degrees, abs=0.05)
        assert axis.lost_steps == 0


def test_a_move_that_is_held_and_resumed_is_followed_all_the_way() -> None:
    axis = _axis()
    board = _board("status-query", axis)
    board.transmit(5.0)
    board.receive(b"G90 G1 A180 F600\n", 5.0)
    board.receive(b"!", 9.0)
    board.transmit(12.0)
    held = axis.pulses
    assert held == board.steps_at("A", 12.0)
    assert 0 < held < PER_TURN // 2
    board.receive(b"~", 13.0)
    board.transmit(60.0)
    assert axis.pulses == PER_TURN // 2
    assert math.degrees(axis.part_angle) == pytest.approx(180, abs=0.05)


def test_pulses_that_are_cut_off_at_speed_leave_the_rotor_where_it_runs_out() -> None:
    axis = _axis()
    board = _board("status-query", axis)
    board.transmit(5.0)
    board.receive(b"G90 G1 A1800 F3600\n", 5.0)
    board.receive(b"\x18", 10.0)
    board.transmit(20.0)
    assert axis.pulses > 0
    off = math.degrees(axis.part_angle) - axis.pulses / PER_TURN * 360
    assert off == pytest.approx(-axis.lost_steps * 1.8 / 3, abs=0.05)


def test_a_move_that_is_slowed_for_a_quick_clock_lasts_its_true_time() -> None:
    """With a clock ten times as quick a board takes ten times as long by it: the rotor feels the true acceleration."""
    lost = []
    for times in (1.0, 10.0):
        axis = _axis(motor={"torque_factor": 0.1})
        board = simulated_device(BELT, delivered=False, start_s=0.0, true_axis=axis)
        board.make_moves_last(times)
        board.transmit(5.0)
        for now_s, line in ((5.0, b"$123=20000\n"), (20.0, b"$113=30000\n"), (35.0, b"G90 G1 A180 F30000\n")):
            board.receive(line, now_s)
            board.transmit(now_s + 14.0)
        board.transmit(100.0)
        lost.append(axis.lost_steps)
    assert lost[0] == lost[1] != 0


@pytest.mark.parametrize(
    ("ratio", "turned"),
    [
        pytest.param({"microsteps": 32}, 0.5, id="a switch at 32"),
        pytest.param({"full_steps_per_revolution": 400}, 0.5, id="400 full steps"),
        pytest.param({"stages": [{"name": "toothed belt", "driven_teeth": 61}]}, 60 / 61, id="a wheel of 61"),
        pytest.param({"stages": [{"name": "toothed belt", "driving_teeth": 18}]}, 18 / 20, id="a pulley of 18"),
        pytest.param({"share": -0.0077}, 0.9923, id="a share"),
    ],
)
def test_a_wrong_ratio_turns_the_part_by_just_that(ratio: dict[str, Any], turned: float) -> None:
    axis = _axis(ratio=ratio)
    _turn(axis, 5 * PER_TURN)
    assert axis.part_angle == pytest.approx(10 * math.pi * turned, abs=2e-3)


def test_a_stage_that_the_machine_does_not_have_is_named() -> None:
    with pytest.raises(InputError, match="the machine has no stage 'worm'"):
        rotor_of(true_machine(ratio={"stages": [{"name": "worm", "driven_teeth": 61}]}), BELT)


def test_rollers_need_the_part_that_lies_on_them() -> None:
    rollers = load_machine("two-rollers")
    with pytest.raises(InputError, match="rollers turn a part by its diameter"):
        rotor_of(true_machine(), rollers)
    lying = true_machine(part={"diameter": "50.8 mm"}, load={"inertia": "8 kg*cm^2"})
    assert rotor_of(lying, rollers).turns == pytest.approx(2.0)


def test_the_part_lags_by_its_lost_motion_from_either_side() -> None:
    axis = _axis(train={"lost_motion": "0.5 deg"})
    places = []
    for pulses in (400, 400, -400, -400):
        _turn(axis, pulses)
        places.append(math.degrees(axis.part_angle) - axis.pulses / PER_TURN * 360)
    friction = 2 * math.degrees(axis.rotor.friction / axis.rotor.standing_torque / 50) / 3
    assert places[3] - places[1] == pytest.approx(0.5, abs=friction + 0.01)


def test_creep_lets_the_part_lag_and_not_the_roller() -> None:
    lying = true_machine(
        part={"diameter": "50.8 mm"}, load={"inertia": "8 kg*cm^2"}, slip={"where": "rollers", "share": 0.01}
    )
    axis = TrueAxis(lying, load_machine("two-rollers"), Random(1))
    _turn(axis, 200 * 32 * 4, 8000.0, 4000.0)
    assert axis.part_angle == pytest.approx(4 * math.pi * 0.99, abs=2e-3)
    assert axis.roller_angle == pytest.approx(8 * math.pi, abs=2e-3)


def test_a_belt_that_slips_lets_both_lag() -> None:
    axis = _axis(slip={"where": "belt", "share": 0.01})
    _turn(axis, PER_TURN)
    assert axis.part_angle == pytest.approx(axis.roller_angle) == pytest.approx(2 * math.pi * 0.99, abs=2e-3)


def test_lost_steps_leave_the_part_short_by_four_full_steps_or_a_multiple() -> None:
    axis = _axis(motor={"torque_factor": 0.3})
    _turn(axis, 2400, 2_000_000.0, 20_000.0)
    assert axis.lost_steps % 4 == 0
    assert axis.lost_steps > 0
    assert math.degrees(axis.line_off(0.25)) == pytest.approx(-axis.lost_steps * 1.8 / 3, abs=0.1)


def test_the_height_has_the_run_out_and_the_oval_that_are_there() -> None:
    axis = _axis(part={"eccentricity": "0.12 mm", "highest_at": "100 deg", "out_of_round": "0.03 mm"})
    assert axis.height() == pytest.approx(0.12e-3 * math.cos(math.radians(100)) + 0.03e-3)
    _turn(axis, round(PER_TURN * 100 / 360))
    assert axis.height() == pytest.approx(0.12e-3 + 0.03e-3 * math.cos(math.radians(200)), abs=1e-6)


def test_the_film_of_a_stop_swings_at_the_natural_frequency() -> None:
    axis = _axis(motor={"damping_ratio": 0.03}, load={"inertia": "80 kg*cm^2", "friction_torque": "0 N*m"})
    _turn(axis, 480, 60_000.0, 5000.0)
    times, angles = axis.swing_after_stop()
    assert times[1] == pytest.approx(1 / PICTURES_PER_S)
    crossings = [k + angles[k] / (angles[k] - angles[k + 1]) for k in range(240) if angles[k] * angles[k + 1] < 0]
    period = 2 * (crossings[-1] - crossings[0]) / (len(crossings) - 1) / PICTURES_PER_S
    assert 1 / period == pytest.approx(axis.rotor.swing()[0], rel=0.01)


def test_the_motor_warms_as_it_turns_and_stands_from_when_it_is_first_felt() -> None:
    axis = _axis(motor={"thermal_resistance": "5 K/W", "thermal_time": "20 min", "ambient": "21 degC"})
    _turn(axis, 480, 60_000.0, 5000.0)
    assert axis.temperature(10.0) == pytest.approx((21, 21))
    warm = axis.temperature(3610.0)
    rise = 2.4**2 * 0.95 * 5
    assert 0.9 * rise < warm.winding - 21 < 1.25 * rise
    axis.power_off()
    assert axis.temperature(7200.0).winding < warm.case


def test_what_happens_at_power_off_and_at_the_switch_is_as_described() -> None:
    axis = _axis(drift_at_power_off="-1.5 deg", home={"scatter": "0.03 deg"})
    before = axis.part_angle
    assert math.degrees(axis.power_off()) == pytest.approx(-1.5)
    assert math.degrees(axis.part_angle - before) == pytest.approx(-1.5)
    trips = axis.home_trips(400)
    assert math.degrees(math.sqrt(sum(each**2 for each in trips) / 400)) == pytest.approx(0.03, rel=0.15)


def test_readings_are_off_by_no_more_than_the_file_says_and_the_same_for_a_seed() -> None:
    def read(seed: int) -> list[tuple[float, float]]:
        axis = _axis(reading={"angle": "0.2 deg", "length": "0.01 mm"})
        reader = Reader(axis, pulses_per_turn(axis), Random(seed))
        found = []
        for _ in range(5):
            _turn(axis, 960)
            reading = reader.read()
            assert abs(reading.line_off - axis.line_off(reading.asked_turns)) <= math.radians(0.2)
            assert abs(reading.height) <= 0.01e-3
            found.append((reading.line_off, reading.height))
        return found

    assert read(3) == read(3) != read(4)


def test_the_shipped_example_is_a_machine_that_can_be_practised_on() -> None:
    true = load_true_machine("worn-belt-chuck")
    axis = TrueAxis(true, BELT, Random(1))
    _turn(axis, PER_TURN)
    assert axis.part_angle == pytest.approx(2 * math.pi * 60 / 61, abs=0.01)
    assert axis.loose.friction == pytest.approx(0.05)


def test_a_key_that_no_true_machine_has_is_told_with_its_line(tmp_path: Any) -> None:
    path = tmp_path / "mine.toml"
    path.write_text('version = 1\n[train]\nbacklash = "1 deg"\n', encoding="utf-8")
    with pytest.raises(InputError, match="backlash"):
        load_true_machine(path)


def test_every_key_of_the_file_has_a_place_in_the_schema() -> None:
    schema = TrueMachine.model_json_schema()
    assert set(schema["properties"]) >= {"ratio", "train", "slip", "part", "load", "motor", "home", "reading"}


def test_the_field_stands_at_whole_pulses_when_it_is_slow_and_goes_evenly_when_it_is_quick() -> None:
    slow = field_of(ramp(4, 1.0, 1.0), 0.01)
    assert set(slow.places.round(6)) >= {0.0, 1.0, 2.0, 3.0, 4.0}
    assert (abs(slow.places - slow.places.round()) > 1e-6).sum() <= 4
    quick = field_of(ramp(100_000, 1e8, 1e6), 1e-4)
    steps = np.diff(quick.places)[len(quick.places) // 3 : len(quick.places) // 2]
    assert steps == pytest.approx(np.full(len(steps), 1e6 * quick.step), rel=1e-6)
    assert quick.places[-1] == 100_000


def test_a_short_move_back_and_forth_comes_back() -> None:
    axis = _axis()
    for pulses in (1, -1, 3, -3, 7, -7):
        _turn(axis, pulses)
    assert axis.pulses == 0
    assert math.degrees(axis.part_angle) == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize("imbalance", ["0 N*m", "5 N*mm"])
def test_turning_evenly_for_long_is_left_out_and_changes_nothing(
    imbalance: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    load = LOAD | {"imbalance_torque": imbalance}
    for pulses in (PER_TURN * 3, -PER_TURN * 2 - 77):
        short, whole = _axis(load=load), _axis(load=load)
        _turn(short, pulses)
        with monkeypatch.context() as patched:
            patched.setattr(whole, "_dies_out", 1e9)
            _turn(whole, pulses)
        assert short.part_angle == pytest.approx(whole.part_angle, abs=math.radians(0.002))
        assert short.pulses == whole.pulses == pulses
