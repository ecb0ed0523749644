from __future__ import annotations

import pytest

from firmware_host.simulator import StatusQueryDevice, StatusQueryVariant
from tests.simulator.bench import Bench
from tests.support.board_faults import counter_at, trip_limit_switch


def test_a_soft_reset_in_motion_loses_the_position_and_locks() -> None:
    bench = Bench()
    bench.ask("G0A100", 0.5)
    bench.write("\x18")
    said = bench.wait(0.01)
    assert said[0] == "ALARM:3"
    assert "['$' for help]" in said[1]
    assert bench.state() == "Alarm"
    assert bench.steps() > counter_at(bench.device, "A", bench.now_s)
    assert bench.ask("G0A0") == ["error:9"]
    assert bench.ask("$J=A0F100") == ["error:9"]
    assert bench.ask("$X") == ["[MSG:unlocked]", "ok"]
    assert bench.ask("G0A100") == ["ok"]


def test_a_soft_reset_after_a_hold_keeps_the_position_and_drops_the_rest() -> None:
    bench = Bench()
    bench.ask("G0A100", 0.5)
    bench.write("!")
    bench.settle()
    steps = bench.steps()
    bench.write("\x18")
    assert len(bench.settle()) == 1
    assert bench.state() == "Idle"
    assert bench.steps() == counter_at(bench.device, "A", bench.now_s) == steps
    bench.run("G91", "G0A1")
    assert bench.steps() == pytest.approx(steps + 100, abs=1)


def test_a_soft_reset_at_standstill_keeps_the_position() -> None:
    bench = Bench()
    bench.run("G0A10")
    bench.write("\x18")
    assert len(bench.settle()) == 1
    assert bench.position() == 10.0
    assert bench.state() == "Idle"


def test_a_reset_drops_the_lines_not_yet_answered() -> None:
    bench = Bench()
    bench.write("G4P10\nG0A10\n\x18")
    said = bench.settle()
    assert len(said) == 1
    assert "['$' for help]" in said[0]
    assert bench.steps() == 0


def test_a_hardware_reset_starts_from_position_0_wherever_the_motor_stands() -> None:
    bench = Bench()
    bench.run("G0A10")
    bench.device.hardware_reset(bench.now_s)
    (greeting,) = bench.settle()
    assert greeting.endswith("['$' for help]")
    assert bench.position() == 0.0
    assert bench.steps() == 1000
    bench.run("G0A1")
    assert bench.steps() == 1100


def test_a_hold_at_standstill_lets_nothing_move_until_the_resume_byte() -> None:
    bench = Bench()
    bench.write("!")
    assert bench.ask("G0A10", 5.0) == ["ok"]
    assert (bench.steps(), bench.state()) == (0, "Hold:0")
    bench.write("~")
    bench.settle()
    assert bench.steps() == 1000


def test_opening_the_port_resets_only_a_board_that_does_so() -> None:
    for resets in (True, False):
        bench = Bench(resets_on_open=resets)
        bench.run("G0A1")
        bench.device.client_opened(bench.now_s)
        assert bool(bench.settle()) is resets
        assert bench.position() == (0.0 if resets else 1.0)


def test_a_limit_switch_stops_everything_when_hard_limits_are_on() -> None:
    bench = Bench({"$21": 1})
    bench.ask("G0A100", 0.5)
    trip_limit_switch(bench.device, bench.now_s)
    assert bench.wait(0.01) == ["ALARM:1"]
    assert not bench.device.moving_at(bench.now_s)
    assert bench.ask("G0A1") == ["error:9"]


def test_a_limit_switch_without_hard_limits_does_nothing() -> None:
    bench = Bench()
    bench.ask("G0A100", 0.5)
    trip_limit_switch(bench.device, bench.now_s)
    bench.settle()
    assert bench.steps() == 10000


def test_a_target_beyond_the_travel_slows_down_and_locks_without_losing_a_step() -> None:
    bench = Bench({"$20": 1, "$22": 1, "$133": 360}, travel_direction=1)
    bench.run("$X")
    bench.write("G0A100\n")
    assert bench.wait(0.3) == ["ok"]
    bench.write("G0A361\n")
    assert bench.settle() == ["ALARM:2", "error:9"]
    assert 0 < bench.steps() < 10000
    assert bench.steps() == counter_at(bench.device, "A", bench.now_s)
    assert bench.state() == "Alarm"
    bench.run("$X", "G0A0")
    assert bench.steps() == 0


def test_soft_limits_allow_the_whole_travel() -> None:
    bench = Bench({"$20": 1, "$22": 1, "$133": 360}, travel_direction=1)
    bench.run("$X")
    assert bench.run("G0A360") == ["ok"]
    assert bench.steps() == 36000


# --- homing --------------------------------------------------------------------------------------------------


def test_a_board_with_homing_starts_locked() -> None:
    bench = Bench({"$22": 1})
    assert bench.greeting.splitlines()[1].startswith(b"[MSG:")
    assert bench.state() == "Alarm"
    assert bench.ask("G0A1") == ["error:9"]
    assert bench.ask("$$")[-1] == "ok"


def test_homing_finds_the_switch_pulls_off_and_sets_the_machine_coordinate() -> None:
    bench = Bench({"$22": 1, "$27": 2}, home_switches={"A": 4321})
    bench.write("$H\n")
    bench.wait(1.0)
    assert bench.state() == "Home"
    assert bench.settle() == ["ok"]
    assert bench.state() == "Idle"
    assert bench.steps() == 4321 - 200
    assert bench.position() == -2.0
    assert [i.to_steps for i in bench.device.motion_log] == [4321, 4121]


def test_homing_in_the_other_direction_sets_the_far_end() -> None:
    bench = Bench({"$22": 1, "$23": 8, "$133": 100}, home_switches={"A": -500})
    bench.run("$H")
    assert bench.steps() == -400
    assert bench.position() == -99.0


def test_a_switch_on_the_other_side_is_not_found() -> None:
    bench = Bench({"$22": 1, "$133": 10}, home_switches={"A": -500})
    assert bench.run("$H") == ["ALARM:9", "error:9"]
    assert bench.state() == "Alarm"


def test_homing_works_with_a_turned_direction_pin() -> None:
    bench = Bench({"$22": 1, "$3": 8}, home_switches={"A": -700})
    assert bench.run("$H") == ["ok"]
    assert bench.steps() == -600
    assert bench.position() == -1.0


# --- jogging -------------------------------------------------------------------------------------------------


def test_a_jog_moves_with_its_own_modes_and_leaves_the_programs() -> None:
    bench = Bench()
    bench.ask("$J=G91G20A1F10", 0.5)
    assert bench.state() == "Jog"
    bench.settle()
    assert bench.steps() == 2540
    assert bench.ask("$G")[0].startswith("[GC:G0 G54 G17 G21 G90")


@pytest.mark.parametrize("byte", ["\x85", "!"], ids=["jog-cancel", "hold"])
def test_a_cancelled_jog_slows_down_and_forgets_the_rest(byte: str) -> None:
    bench = Bench()
    bench.write("$J=A100F6000\n$J=A200F6000\n")
    bench.wait(0.5)
    bench.write(byte)
    assert bench.settle() == []
    assert bench.state() == "Idle"
    steps = bench.steps()
    assert 0 < steps < 10000
    bench.run("G91", "G0A1")
    assert bench.steps() == pytest.approx(steps + 100, abs=1)
    bench.run("G90", "G0A0")
    assert bench.steps() == 0


def test_a_program_line_is_refused_during_a_jog() -> None:
    bench = Bench()
    bench.ask("$J=A100F6000", 0.3)
    assert bench.ask("G0A1") == ["error:9"]


def test_the_jog_cancel_byte_leaves_a_move_of_the_program_alone() -> None:
    bench = Bench()
    bench.ask("G0A100", 0.3)
    bench.write("\x85")
    bench.settle()
    assert bench.steps() == 10000


def test_a_jog_beyond_the_travel_is_refused_without_an_alarm() -> None:
    bench = Bench({"$20": 1, "$22": 1, "$133": 360}, travel_direction=1)
    bench.run("$X")
    assert bench.ask("$J=A361F100") == ["error:15"]
    assert bench.state() == "Idle"


# --- time ----------------------------------------------------------------------------------------------------


def test_time_never_runs_backwards() -> None:
    device = StatusQueryDevice(StatusQueryVariant())
    device.transmit(5.0)
    with pytest.raises(ValueError, match=r"time runs backwards: 4\.0 s after 5\.0 s"):
        device.receive(b"?", 4.0)


@pytest.mark.parametrize(
    ("fields", "message"),
    [
        ({"axes": "XX"}, "name each axis once"),
        ({"axes": "XQ"}, "out of XYZABC"),
        ({"axes": ""}, "name each axis once"),
        ({"planner_blocks": 0}, "planner_blocks"),
        ({"highest_step_rate": 0.0}, "greater than 0"),
        ({"axes": "XY", "home_switches": {"A": 1}}, "no axes of 'XY'"),
    ],
    ids=["axis-twice", "unknown-axis", "no-axis", "no-planner", "no-rate", "switch-without-axis"],
)
def test_an_impossible_variant_is_refused(fields: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        StatusQueryVariant(**fields)  # type: ignore[arg-type]
