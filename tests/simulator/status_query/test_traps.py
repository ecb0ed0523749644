"""Each trap that was measured on a real controller, with its figures (the wire description is their source)."""

from __future__ import annotations

import numpy as np
import pytest

from tests.simulator.bench import Bench
from tests.simulator.far_out import targets_one_step_off


def test_print_shows_three_decimals_and_motion_uses_all() -> None:
    bench = Bench({"$103": 26.66667, "$113": 60000})
    assert "$103=26.667" in bench.ask("$$")
    assert bench.device.settings["$103"] == float(np.float32(26.66667))
    bench.run("G0A3600")
    assert bench.steps() == 96000

    printed = Bench({"$103": 26.667, "$113": 60000})
    printed.run("G0A3600")
    assert printed.steps() == 96001


def test_steps_per_unit_changed_away_from_zero_makes_the_next_move_run_wild() -> None:
    bench = Bench({"$103": 26.66667, "$113": 60000})
    bench.run("G0A3600", "$103=50", "G0A3601")
    assert bench.steps() - 96000 == 84050


def test_a_soft_reset_at_standstill_tames_a_changed_steps_per_unit() -> None:
    bench = Bench({"$103": 26.66667, "$113": 60000})
    bench.run("G0A3600", "$103=50")
    bench.write("\x18")
    bench.wait(0.1)
    assert bench.position() == 1920.0
    bench.run("G91", "G0A1")
    assert bench.steps() - 96000 == 50


def test_steps_per_unit_changed_at_zero_is_harmless() -> None:
    bench = Bench({"$103": 26.66667})
    bench.run("$103=50", "G0A1")
    assert bench.steps() == 50


@pytest.mark.parametrize(("start", "expected"), [("0", 1500), ("607.256", 1501)], ids=["from-zero", "from-607.256"])
def test_incremental_moves_pile_up_float_error(start: str, expected: int) -> None:
    bench = Bench({"$103": 250, "$113": 6000})
    bench.run(f"G0A{start}", "G91")
    before = bench.steps()
    bench.run(*["A0.01", "A0.02"] * 200)
    assert bench.steps() - before == expected


def test_above_16_million_steps_targets_come_to_rest_one_step_off_and_an_offset_does_not_help() -> None:
    steps_per_unit = 10.0
    bench = Bench({"$103": steps_per_unit, "$113": 1e9, "$123": 1e9, "$110": 1e9}, highest_step_rate=1e9)
    bench.run("G0A1680000", "G92A0")
    assert 25 <= targets_one_step_off(bench) <= 35  # the real one: 30 of 59


def test_at_8_million_steps_every_target_is_right() -> None:
    bench = Bench({"$103": 10.0, "$113": 1e9, "$123": 1e9}, highest_step_rate=1e9)
    bench.run("G0A860000", "G92A0")
    assert targets_one_step_off(bench) == 0


def test_too_many_steps_per_second_lose_time_on_one_board() -> None:
    bench = Bench({"$103": 1000, "$113": 6000, "$123": 1e6}, highest_step_rate=30_000)
    assert bench.run("G0A300") == ["ok"]
    assert bench.steps() == 300_000
    assert bench.last_step_s() == pytest.approx(300_000 / 30_000, rel=1e-3)


def test_too_many_steps_per_second_crash_another_board_which_greets_again() -> None:
    bench = Bench({"$103": 1000, "$113": 6000, "$123": 100}, highest_step_rate=30_000, when_too_fast="crash")
    said = bench.run("G0A300")
    assert said[0] == "ok"
    assert "['$' for help]" in said[1]
    assert bench.last_step_s() == pytest.approx(30 / 100, rel=1e-6)
    assert bench.position() == 0.0
    assert bench.steps() == 4500 + 4500  # 4.5 deg of ramp, then the rotor runs on by as much
    assert bench.run("G0A1") == ["ok"]


def test_a_crashing_board_survives_a_short_move_that_never_gets_quick_enough() -> None:
    bench = Bench({"$103": 1000, "$113": 6000, "$123": 100}, highest_step_rate=30_000, when_too_fast="crash")
    assert bench.run("G0A8") == ["ok"]
    assert bench.steps() == 8000


@pytest.mark.parametrize("phase_ms", range(8), ids=lambda ms: f"poll-phase-{ms}ms")
def test_idle_shows_9_to_18_ms_after_the_last_step_when_polled_every_8_ms(phase_ms: int) -> None:
    bench = Bench({"$113": 6000, "$123": 1000})
    bench.write("G0A10\n")
    bench.wait(0.05 + phase_ms / 1000)
    while True:
        bench.write("?")
        asked_s = bench.now_s
        (report,) = [line for line in bench.wait(0.004) if line.startswith("<")]
        if report.startswith("<Idle"):
            break
        bench.wait(0.004)
    assert 0.009 <= bench.now_s - bench.last_step_s() <= 0.018
    assert asked_s > bench.last_step_s()


def test_the_dwell_answers_55_ms_after_the_last_step() -> None:
    bench = Bench()
    bench.run("G4P0")
    bench.write("G0A10\nG4P0.01\n")
    bench.wait(0.01)
    while not bench.device.transmit(bench.now_s):
        event_s = bench.device.next_event_s()
        assert event_s is not None
        bench.now_s = event_s
    assert bench.now_s - bench.last_step_s() == pytest.approx(0.055, abs=1e-6)


def test_a_status_asked_for_right_after_a_moves_ok_never_says_idle() -> None:
    bench = Bench({"$113": 6000, "$123": 1000})
    for count in range(1, 61):
        bench.write(f"G0A{count / 100}\n")
        assert bench.wait(0.003) == ["ok"]
        assert bench.state() == "Run"
        bench.settle()


def test_a_status_takes_4_ms_and_an_ok_3_ms() -> None:
    bench = Bench()
    bench.write("?")
    assert bench.wait(0.0039) == []
    assert len(bench.wait(0.0001)) == 1
    bench.write("G90\n")
    assert bench.wait(0.0029) == []
    assert bench.wait(0.0002) == ["ok"]


def test_the_motor_is_released_so_many_ms_after_the_move() -> None:
    bench = Bench({"$1": 25})
    bench.run("G0A10")
    end_s = bench.last_step_s()
    again = Bench({"$1": 25})
    again.write("G0A10\n")
    assert not again.device.released_at(end_s + 0.0249)
    assert again.device.released_at(end_s + 0.0251)


def test_255_never_releases_the_motor() -> None:
    bench = Bench({"$1": 255})
    assert not bench.device.released_at(0.0)
    bench.run("G0A10")
    assert not bench.device.released_at(bench.now_s + 1e6)


def test_written_after_the_release_255_waits_for_the_next_motion() -> None:
    bench = Bench({"$1": 0})
    bench.run("G0A10", "$1=255")
    assert bench.device.released_at(bench.now_s)
    bench.run("G0A20")
    assert not bench.device.released_at(bench.now_s + 1e6)


def test_the_resume_byte_is_ignored_while_still_slowing() -> None:
    bench = Bench({"$123": 100})
    bench.write("G0A90\n")
    bench.wait(0.5)
    bench.write("!~")
    assert bench.state() == "Hold:1"
    bench.settle()
    assert bench.state() == "Hold:0"
    assert 0 < bench.steps() < 9000
    bench.write("~")
    bench.settle()
    assert bench.steps() == 9000


def test_inches_turn_degrees_25_times_too_far() -> None:
    bench = Bench({"$103": 10.0})
    bench.run("G20", "G0A10")
    assert bench.steps() == 2540
