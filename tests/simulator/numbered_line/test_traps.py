"""Each trap of the family with its figure (the wire description is the source)."""

from __future__ import annotations

import numpy as np
import pytest

from tests.simulator.numbered_line.bench import NumberedBench, numbered


def answered_at_s(bench: NumberedBench, words: str) -> float:
    """Send a line and wait for its `ok`; the instant at which it came."""
    assert "ok" not in bench.ask(words, 0.0)
    while True:
        event_s = bench.device.next_event_s()
        assert event_s is not None
        bench.now_s = max(bench.now_s, event_s)
        if "ok" in bench.device.transmit(bench.now_s).decode().splitlines():
            return bench.now_s


@pytest.mark.parametrize("word", ["M400", "M17", "M84", "G4 P0"])
def test_a_sync_is_answered_after_the_last_step(word: str) -> None:
    bench = NumberedBench()
    bench.run("G1 F600")
    answered_at_s(bench, "G1 A10")
    at_s = answered_at_s(bench, word)
    assert at_s - bench.last_step_s() == pytest.approx(0.01 + 0.003)


@pytest.mark.parametrize("word", ["M400", "M17", "M84", "M18", "G4 P0"])
def test_a_sync_answered_when_queued_says_nothing_but_the_next_line_waits(word: str) -> None:
    bench = NumberedBench(sync_answered="when-queued")
    bench.run("G1 F600")
    started_s = answered_at_s(bench, "G1 A10")
    at_s = answered_at_s(bench, word)
    assert at_s - started_s == pytest.approx(0.003)
    assert bench.moving()
    at_s = answered_at_s(bench, "G90")
    assert not bench.moving()
    assert at_s >= bench.last_step_s()
    assert at_s - started_s > 1.0  # 10 units at 10 units/s


def test_a_dwell_takes_p_in_ms_or_s_in_seconds_after_the_motion() -> None:
    bench = NumberedBench(busy_every_s=None)
    assert answered_at_s(bench, "G4 P250") == pytest.approx(0.253)
    before_s = bench.now_s
    assert answered_at_s(bench, "G4 S3") - before_s == pytest.approx(3.003)


def test_the_busy_keep_alive_comes_every_2_s_until_the_ok() -> None:
    bench = NumberedBench()
    assert bench.ask("G4 S5", 1.9) == []
    assert bench.wait(0.2) == ["echo:busy: processing"]
    assert bench.wait(2.0) == ["echo:busy: processing"]
    assert bench.wait(1.0) == ["ok"]
    assert bench.wait(10.0) == []


def test_the_position_reported_may_be_the_planned_one_while_the_counts_are_real() -> None:
    actual, planned = NumberedBench(), NumberedBench(position_report="planned")
    both = NumberedBench(position_report="planned", count_report="planned")
    for bench in (actual, planned, both):
        bench.ask("G1 A100 F600", 1.0)
        assert bench.moving()
    # 1 s at 10 units/s, less v/2a = 0.01 s of ramp; the report itself comes up to 0.02 s later
    assert actual.report()[0]["A"] == pytest.approx(9.9, abs=0.1)
    assert planned.report()[0]["A"] == 100.0
    assert planned.report()[1]["A"] < 1200
    assert both.report()[1]["A"] == 10000


def test_the_position_has_two_decimals_and_the_counts_have_them_all() -> None:
    bench = NumberedBench({"M92 A": 1000.0})
    bench.run("G0 A0.004 F600")
    assert bench.report()[0]["A"] == 0.0
    assert bench.report()[1]["A"] == 4


@pytest.mark.parametrize("word", ["M114", "M115", "M503", "M92", "M999"])
def test_the_ok_comes_before_the_output_on_some_boards(word: str) -> None:
    usual, early = NumberedBench().ask(word), NumberedBench(ok_before_output=True).ask(word)
    assert len(usual) > 1
    assert usual[-1] == "ok"
    assert early == ["ok", *usual[:-1]]


def test_wait_comes_every_second_when_idle() -> None:
    bench = NumberedBench(wait_lines="idle")
    assert bench.wait(3.5) == ["wait"] * 3
    bench.write("\n")
    assert bench.wait(0.9) == []
    bench.ask("G1 F600")
    assert bench.ask("G1 A30", 2.9) == ["ok"]
    assert bench.moving()
    assert bench.wait(1.1) == []  # motion ends after 3.02 s, the wait comes 1 s later
    assert bench.wait(0.1) == ["wait"]


def test_wait_comes_even_while_moving_on_some_boards() -> None:
    bench = NumberedBench(wait_lines="even-moving", sync_answered="when-queued")
    bench.ask("G1 F600")
    assert bench.ask("G1 A30", 1.5) == ["ok", "wait"]
    assert bench.ask("M400", 1.2) == ["ok", "wait"]
    assert bench.moving()


def test_bad_numbers_are_refused_or_taken_as_zero() -> None:
    refusing, trusting = NumberedBench(), NumberedBench(bad_numbers="zero")
    for bench in (refusing, trusting):
        bench.run("G0 A10 F6000")
        said = bench.run("G0 A2O")  # a letter O for the digit 0
        assert said[-1] == "ok"
    assert refusing.steps() == 200  # the O is a word of its own
    assert refusing.run("G0 A1.2.3") == ["Error:bad number A1.2.3", "ok"]
    assert refusing.steps() == 200
    assert trusting.run("G0 A1.2.3") == ["ok"]
    assert trusting.steps() == 0


def test_an_unknown_command_is_echoed_and_acknowledged() -> None:
    bench = NumberedBench()
    assert bench.ask("M9999 S1") == ['echo:Unknown command: "M9999 S1"', "ok"]
    assert bench.ask("\x01\xfe") == ['echo:Unknown command: "??"', "ok"]


# --- settings ------------------------------------------------------------------------------------------------


def test_settings_are_printed_with_two_decimals_and_kept_with_all() -> None:
    bench = NumberedBench({"M92 A": 26.66667, "M203 A": 1000.0})
    assert "echo: M92 X100.00 Y100.00 Z100.00 A26.67 E100.00" in bench.ask("M503")
    assert bench.device.settings["M92 A"] == float(np.float32(26.66667))
    bench.run("G0 A3600 F60000")
    assert bench.steps() == 96000  # not 96012, as what is printed would give


def test_the_rate_is_per_second_on_some_and_per_minute_on_others() -> None:
    second, minute = NumberedBench(), NumberedBench(rate_unit="per-minute")
    assert "echo: M203 X100.00 Y100.00 Z100.00 A100.00 E100.00" in second.ask("M503")
    assert "echo: M203 X6000.00 Y6000.00 Z6000.00 A6000.00 E6000.00" in minute.ask("M503")
    for bench, rate in ((second, 60.0), (minute, 1.0)):
        bench.run("M203 A60")
        assert bench.device.settings["M203 A"] == rate


def test_m204_may_be_a_heaters_constants() -> None:
    usual, heater = (NumberedBench(m204=kind, highest_step_rate=1e9) for kind in ("acceleration", "heater"))
    for bench in (usual, heater):
        bench.run("M201 A1000000", "M203 A1000", "M204 T100", "G1 A25 F60000")
    assert usual.last_step_s() - usual.device.motion_log[0].start_s == pytest.approx(1.0)
    assert usual.device.heater_writes == ()
    assert heater.last_step_s() - heater.device.motion_log[0].start_s == pytest.approx(25 / 1000 + 1000 / 1e6)
    ((_, words),) = heater.device.heater_writes
    assert dict(words) == {"T": "100"}
    assert not any("M204" in line for line in heater.ask("M503"))


def test_settings_may_be_listed_behind_m205_or_nowhere() -> None:
    listing = NumberedBench({"M92 A": 26.66667}, settings_report="EPR after M205", settings_decimals=4)
    said = listing.ask("M205")
    assert "EPR:3 15 26.6667 A-axis steps per mm" in said
    assert len(said) == 3 * 5 + 1
    assert len({line.split()[1] for line in said[:-1]}) == 15
    for word in ("M503", "M92", "M203", "M201", "M204"):
        assert listing.ask(word) == ["ok"]
    none = NumberedBench(settings_report="none")
    assert none.ask("M503") == ['echo:Unknown command: "M503"', "ok"]
    for word in ("M205", "M92", "M203", "M201", "M204"):
        assert none.ask(word) == ["ok"]


@pytest.mark.parametrize("line", ["M92 A0", "M92 A-5", "M203 A0", "M201 A0", "M204 T0"])
def test_an_impossible_setting_is_refused_and_the_old_one_stays(line: str) -> None:
    bench = NumberedBench()
    before = dict(bench.device.settings)
    error, ok = bench.run(line)
    assert error.startswith("Error:")
    assert ok == "ok"
    assert dict(bench.device.settings) == before


def test_only_stored_settings_outlive_a_reset() -> None:
    bench = NumberedBench()
    bench.run("M92 A50", "M500", "M203 A7")
    bench.device.hardware_reset(bench.now_s)
    assert (bench.device.settings["M92 A"], bench.device.settings["M203 A"]) == (50.0, 100.0)
    bench.number = 0
    bench.run("M502")
    assert bench.device.settings["M92 A"] == 100.0
    bench.run("M501")
    assert bench.device.settings["M92 A"] == 50.0


def test_loading_settings_rescales_the_counts_like_a_change_of_scale() -> None:
    bench = NumberedBench()
    bench.run("M92 A50", "G0 A90 F6000", "M501")
    assert (bench.report()[0]["A"], bench.report()[1]["A"], bench.steps()) == (90.0, 9000, 4500)


def test_m204_s_sets_both_kinds_of_moves() -> None:
    bench = NumberedBench()
    bench.run("M204 S50")
    names = ("M204 P", "M204 T", "M204 R")
    assert [bench.device.settings[name] for name in names] == [50.0, 50.0, 3000.0]


# --- motors and outputs --------------------------------------------------------------------------------------


def test_motors_are_released_at_power_up_until_they_are_energised() -> None:
    bench = NumberedBench()
    assert bench.released()
    bench.run("M84 S0")
    assert bench.released()
    bench.ask("M17")
    assert not bench.released()
    assert not bench.device.released_at(1e6)


def test_the_stepper_time_out_releases_a_standing_motor() -> None:
    bench = NumberedBench()
    bench.ask("G0 A10 F6000", 1.0)
    end_s = bench.last_step_s()
    assert not bench.device.released_at(end_s + 119.9)
    assert bench.device.released_at(end_s + 120.1)


def test_m84_releases_only_once_the_motion_has_ended() -> None:
    bench = NumberedBench()
    bench.ask("G1 A10 F600")
    bench.ask("M84", 0.5)
    assert bench.moving()
    assert not bench.released()
    bench.wait(1.0)
    assert bench.released()


def test_m84_s_sets_the_time_out_in_seconds() -> None:
    bench = NumberedBench()
    bench.ask("M17")
    bench.ask("M84 S5")
    set_s = bench.now_s
    assert not bench.device.released_at(set_s + 4.8)
    assert bench.device.released_at(set_s + 5.0)


def test_an_output_is_set_at_once_even_while_moving_and_recorded_with_its_time() -> None:
    bench = NumberedBench()
    bench.ask("G1 A10 F600", 0.25)
    bench.ask("M42 P4 S255", 0.25)
    bench.ask("M42 P4 S0")
    assert bench.moving()
    assert bench.device.output_log == ((0.25, 4, 255), (0.5, 4, 0))
    assert bench.ask("M42 P4")[0].startswith("Error:")


# --- opening -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("loss_s", [0.3, 2.0])
def test_bytes_sent_in_the_first_moment_after_opening_are_lost(loss_s: float) -> None:
    bench = NumberedBench(boot_loss_s=loss_s)
    assert bench.greeting == ["start", "echo:simulated board"]
    assert bench.device.client_opened(bench.now_s) is False
    bench.wait(loss_s - 0.01)
    assert bench.ask("G0 A10 F6000", 0.005) == []
    assert bench.wait(0.1) == []
    bench.number = 0
    assert bench.ask("G90") == ["ok"]
    assert bench.device.bytes_lost == len(numbered(1, "G0 A10 F6000") + "\n")


def test_opening_resets_some_boards_to_position_0_and_line_1() -> None:
    bench = NumberedBench(resets_on_open=True, boot_loss_s=1.0)
    bench.run("G0 A10 F6000", "G92 A3")
    assert bench.device.client_opened(bench.now_s) is True
    assert bench.wait(0.99) == []
    assert bench.wait(0.02) == ["start", "echo:simulated board"]
    bench.number = 0
    position, counts = bench.report()
    assert (position["A"], counts["A"], bench.steps()) == (0.0, 0, 1000)


def test_a_board_may_greet_nobody() -> None:
    bench = NumberedBench(greets=False)
    bench.device.hardware_reset(bench.now_s)
    assert bench.greeting == bench.wait(5.0) == []


def test_m115_tells_capabilities() -> None:
    first, *caps, ok = NumberedBench(capabilities={"AUTOREPORT_POS": False}).ask("M115")
    assert first.startswith("FIRMWARE_NAME:")
    assert "Cap:AUTOREPORT_POS:0" in caps
    assert ok == "ok"
