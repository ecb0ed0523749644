from __future__ import annotations

import numpy as np
import pytest

from firmware_host.simulator import StatusQueryDevice, StatusQueryVariant
from tests.simulator.bench import Bench


def test_the_board_greets_at_power_up_and_once_only() -> None:
    bench = Bench()
    assert bench.greeting.endswith(b"['$' for help]\r\n")
    assert bench.wait(10.0) == []


def test_a_board_that_does_not_greet_says_nothing_but_answers() -> None:
    bench = Bench(greets=False)
    assert bench.greeting == b""
    assert bench.ask("G90") == ["ok"]


def test_a_booting_board_hears_nothing_and_greets_when_done() -> None:
    bench = Bench(boot_s=1.5)
    bench.write("G90\n?")
    assert bench.wait(1.4) == []
    (greeting,) = bench.wait(0.2)
    assert greeting.endswith("['$' for help]")
    assert bench.device.bytes_lost == 5
    assert bench.ask("G90") == ["ok"]


@pytest.mark.parametrize(
    ("line", "number"),
    [
        ("Q5", 20),
        ("G2X1", 20),
        ("G5.5", 20),
        ("B10", 20),
        ("M77", 20),
        ("A1.2.3", 1),
        ("A--1", 2),
        ("GX", 2),
        ("A" + "9" * 60, 2),
        ("5", 1),
        ("A10" + " " * 77, 14),
        ("G1A10", 22),
        ("G0G1A1", 21),
        ("A1A2", 25),
        ("G92", 26),
        ("G4", 28),
        ("G10L2P9A1", 29),
        ("G80A1", 31),
        ("G53G80A1", 30),
        ("G92G0A1", 24),
        ("$H", 5),
        ("$J=A10", 22),
        ("$J=G1A10F100", 16),
        ("$999=1", 3),
        ("$WHAT", 3),
        ("$103=abc", 2),
        ("$103=0", 4),
        ("$123=-5", 4),
        ("$0=2", 6),
        ("$20=1", 10),
    ],
    ids=lambda value: repr(value)[:24],
)
def test_a_line_the_board_cannot_carry_out_is_answered_once_and_moves_nothing(line: str, number: int) -> None:
    bench = Bench()
    assert bench.ask(line, 5.0) == [f"error:{number}"]
    assert bench.device.motion_log == ()
    assert bench.ask("G0A1") == ["ok"]


def test_a_line_of_80_characters_with_its_end_is_the_longest() -> None:
    bench = Bench()
    assert bench.ask("G0A1" + " " * 75) == ["ok"]
    assert bench.ask("G0A1" + " " * 76) == ["error:14"]


@pytest.mark.parametrize("end", ["\n", "\r", "\r\n"], ids=["lf", "cr", "crlf"])
def test_every_kind_of_line_end_ends_one_line(end: str) -> None:
    bench = Bench()
    bench.write(f"G90{end}G21{end}")
    assert bench.wait(0.1) == ["ok", "ok"]


def test_comments_blanks_and_small_letters_do_not_matter() -> None:
    bench = Bench()
    bench.run("g0 a1 (turn A9) .5 ; A7")
    assert bench.steps() == 150


def test_some_members_repeat_an_error_until_a_dollar_line_an_empty_line_or_a_reset() -> None:
    for way_out in ("$\n", "\n", "\x18"):
        bench = Bench(block_whole_line_after_error=True)
        assert bench.ask("Q1") == ["error:20"]
        assert bench.ask("G0A1") == ["error:20"]
        assert bench.ask("G21") == ["error:20"]
        bench.write(way_out)
        bench.wait(0.1)
        assert bench.ask("G0A1") == ["ok"]
        assert bench.settle() == []
        assert bench.steps() == 100


def test_other_members_forget_an_error() -> None:
    bench = Bench()
    assert bench.ask("Q1") == ["error:20"]
    assert bench.ask("G0A1") == ["ok"]


# --- the receive buffer and the EEPROM -----------------------------------------------------------------------


def test_bytes_beyond_127_in_the_buffer_are_lost() -> None:
    bench = Bench(planner_blocks=1)
    bench.write("G0A100\n")
    bench.wait(0.1)
    bench.write("G0A200\n")  # read, and waiting for room in the planner
    bench.write("G0A1\n" * 30)
    assert bench.device.bytes_lost == 150 - 127


def test_a_sender_that_counts_characters_loses_none() -> None:
    bench = Bench({"$123": 10000})
    lines = [f"G0A{n / 100:.3f}\n" for n in range(1, 400)]
    unanswered: list[int] = []
    for line in lines:
        while sum(unanswered) + len(line) > 127:
            event_s = bench.device.next_event_s()
            assert event_s is not None
            bench.now_s = event_s
            for answer in bench.device.transmit(event_s).decode().splitlines():
                assert answer == "ok"
                unanswered.pop(0)
        bench.write(line)
        unanswered.append(len(line))
    assert bench.settle() == ["ok"] * len(unanswered)
    assert bench.device.bytes_lost == 0
    assert bench.steps() == 399


def test_a_planner_that_is_full_holds_back_the_answer() -> None:
    bench = Bench({"$113": 60}, planner_blocks=3)
    bench.write("".join(f"G0A{n}\n" for n in range(1, 6)))
    assert bench.wait(0.5) == ["ok"] * 3
    assert "|Bf:0,123|" in bench.status()
    bench.wait(0.7)
    assert "|Bf:0,128|" in bench.status()
    assert bench.settle() == ["ok"]


@pytest.mark.parametrize("line", ["$103=50", "G10L2P1A5", "G10L20P1A5", "G28.1", "G30.1"], ids=str)
def test_bytes_that_arrive_while_a_line_is_stored_are_lost(line: str) -> None:
    bench = Bench(eeprom_write_s=0.02)
    bench.write(line + "\n")
    bench.wait(0.019)
    bench.write("G0A1\n?")
    assert bench.wait(1.0) == ["ok"]
    assert bench.device.bytes_lost == 6
    assert bench.ask("G90") == ["ok"]


def test_a_storing_line_of_the_program_waits_for_the_motion_before_it() -> None:
    bench = Bench()
    bench.write("G0A10\nG10L20P1A0\n")
    assert bench.wait(0.2) == ["ok"]
    assert bench.device.moving_at(bench.now_s)
    assert bench.settle() == ["ok"]
    assert bench.now_s > bench.last_step_s()


# --- settings ------------------------------------------------------------------------------------------------


def test_settings_are_printed_in_order_with_three_decimals() -> None:
    bench = Bench({"$103": 8.88889}, axes="XA")
    printed = bench.ask("$$")
    numbers = [int(line[1 : line.index("=")]) for line in printed[:-1]]
    assert printed[-1] == "ok"
    assert numbers == sorted(numbers)
    assert {"$1=255", "$3=0", "$10=3", "$11=0.010", "$101=100.000"} < set(printed)


def test_a_written_setting_is_stored_as_a_32_bit_float() -> None:
    bench = Bench()
    assert bench.ask("$103=8.88888889") == ["ok"]
    assert bench.device.settings["$103"] == float(np.float32(8.88888889))
    assert "$103=8.889" in bench.ask("$$")


def test_settings_survive_a_reset_and_restore_on_demand() -> None:
    bench = Bench({"$103": 50})
    bench.run("$103=60", "\x18")
    bench.device.hardware_reset(bench.now_s)
    assert bench.device.settings["$103"] == 60
    bench.run("$RST=$")
    assert bench.device.settings["$103"] == 50


@pytest.mark.parametrize("line", ["$$", "$I", "$#", "$103=50", "$SLP"], ids=str)
def test_most_dollar_lines_are_refused_while_moving(line: str) -> None:
    bench = Bench()
    bench.ask("G0A100", 0.5)
    assert bench.ask(line) == ["error:8"]
    assert bench.device.settings["$103"] == 100


def test_a_test_cannot_store_what_the_board_could_not_work_with() -> None:
    device = StatusQueryDevice(StatusQueryVariant())
    with pytest.raises(KeyError, match=r"no setting \$999"):
        device.settings["$999"] = 1.0
    with pytest.raises(ValueError, match=r"\$103=0"):
        device.settings["$103"] = 0.0


def test_the_build_line_tells_the_buffers() -> None:
    bench = Bench(planner_blocks=35, receive_buffer=256)
    assert any(line.startswith("[OPT:") and line.endswith(",35,256]") for line in bench.ask("$I"))


# --- coordinates ---------------------------------------------------------------------------------------------


def test_an_offset_leaves_the_machine_coordinate_and_is_not_stored() -> None:
    bench = Bench()
    bench.run("G0A10", "G92A0")
    assert bench.position() == 10.0
    assert "[G92:0.000,0.000,0.000,10.000]" in bench.ask("$#")
    bench.run("G0A5")
    assert bench.steps() == 1500
    bench.write("\x18")
    bench.wait(0.1)
    assert "[G92:0.000,0.000,0.000,0.000]" in bench.ask("$#")


def test_offsets_add_in_32_bits() -> None:
    bench = Bench({"$103": 1000.0, "$113": 1e6})
    bench.run("G10L2P1A607.256", "G0A0.1")
    assert bench.steps() == round(float((np.float32(0.1) + np.float32(607.256)) * np.float32(1000)))
    bench.run("G92A33.3", "G0A33.4")
    shift = np.float32(607.356) - np.float32(607.256) - np.float32(33.3)
    target = np.float32(33.4) + (np.float32(607.256) + shift)
    assert bench.steps() == round(float(target * np.float32(1000)))


def test_a_coordinate_that_64_bits_would_put_on_another_step_goes_where_32_bits_say() -> None:
    bench = Bench({"$103": 250.0, "$113": 1e6})
    bench.run("G10L2P1A3441.159", "G0A215.847")
    in_32_bits = (np.float32(215.847) + np.float32(3441.159)) * np.float32(250)
    in_64_bits = (float(np.float32(215.847)) + float(np.float32(3441.159))) * 250
    assert bench.steps() == round(float(in_32_bits)) == 914251
    assert round(float(np.float32(in_64_bits))) == 914252


def test_coordinate_systems_are_stored_and_chosen() -> None:
    bench = Bench()
    bench.run("G10L2P2A20", "G55", "G0A1")
    assert bench.steps() == 2100
    bench.run("G10L20P0A0", "G54", "G0A2", "G55", "G0A2")
    assert bench.steps() == 2300
    bench.device.hardware_reset(bench.now_s)
    assert "[G55:0.000,0.000,0.000,21.000]" in [*bench.wait(0.1), *bench.ask("$#")]


def test_machine_coordinates_ignore_every_offset_for_one_line() -> None:
    bench = Bench()
    bench.run("G92A-50", "G53G0A3")
    assert bench.steps() == 300
    bench.run("G0A-49")
    assert bench.steps() == 100


def test_the_stored_home_is_reached_by_its_word() -> None:
    bench = Bench()
    bench.run("G0A7", "G28.1", "G0A1", "G28A2")
    assert bench.steps() == 700
    assert [i.to_steps for i in bench.device.motion_log] == [700, 100, 700]  # 1 to 2 to 7: one unbroken travel


def test_the_position_is_printed_either_way_with_the_offset_now_and_then() -> None:
    bench = Bench(reports="WPos")
    bench.run("G0A10", "G92A1")
    first = bench.status()
    assert "|WPos:0.000,0.000,0.000,1.000|" in first
    assert "|WCO:0.000,0.000,0.000,9.000" in first
    following = [bench.status() for _ in range(10)]
    assert [index for index, report in enumerate(following) if "WCO:" in report] == [9]


def test_the_report_mask_can_leave_out_the_buffers() -> None:
    bench = Bench({"$10": 1})
    assert "|Bf:" not in bench.status()
    bench.run("$10=2")
    assert "|Bf:15,128|" in bench.status()
    assert "WPos:" in bench.status()


def test_reports_in_inches_have_four_decimals() -> None:
    bench = Bench({"$13": 1})
    bench.run("G0A25.4")
    assert "MPos:0.0000,0.0000,0.0000,1.0000" in bench.status()


def test_modes_are_printed_and_start_over_at_the_end_of_a_program() -> None:
    bench = Bench()
    bench.run("G91G1F120S7M3")
    assert bench.ask("$G") == ["[GC:G1 G54 G17 G21 G91 G94 M3 M9 T0 F120 S7]", "ok"]
    bench.run("M30")
    assert bench.ask("$G") == ["[GC:G0 G54 G17 G21 G90 G94 M5 M9 T0 F120 S7]", "ok"]


def test_a_refused_line_leaves_the_modes_as_they_were() -> None:
    bench = Bench()
    assert bench.ask("G91G20G1A5") == ["error:22"]
    assert bench.ask("$G")[0].startswith("[GC:G0 G54 G17 G21 G90")


# --- program flow --------------------------------------------------------------------------------------------


def test_outputs_switch_after_the_motion_before_them() -> None:
    bench = Bench()
    bench.write("G0A10\nM8\nG0A20\nM9\n")
    bench.settle()
    (on_s, on), (off_s, off) = bench.device.output_log
    first, second = bench.device.motion_log
    assert (on, off) == ("M8", "M9")
    assert first.end_s < on_s <= second.start_s
    assert second.end_s < off_s


def test_a_program_stop_waits_for_the_resume_byte() -> None:
    bench = Bench()
    bench.write("G0A10\nM0\nG0A20\n")
    assert bench.settle() == ["ok"]
    assert (bench.steps(), bench.state()) == (1000, "Hold:0")
    bench.write("~")
    assert bench.settle() == ["ok", "ok"]
    assert bench.steps() == 2000


def test_check_mode_reads_lines_without_moving_and_ends_in_a_reset() -> None:
    bench = Bench()
    assert bench.ask("$C") == ["[MSG:check]", "ok"]
    assert bench.state() == "Check"
    assert bench.ask("G0A10") == ["ok"]
    assert bench.ask("Q1") == ["error:20"]
    assert any("['$' for help]" in line for line in bench.ask("$C"))
    assert (bench.steps(), bench.state()) == (0, "Idle")


def test_a_sleeping_board_lets_the_motor_go_until_it_is_reset() -> None:
    bench = Bench()
    bench.ask("$SLP")
    assert bench.state() == "Sleep"
    assert bench.device.released_at(bench.now_s)
    assert bench.ask("G0A1") == ["error:9"]
    bench.write("\x18")
    bench.wait(0.1)
    assert bench.state() == "Idle"
