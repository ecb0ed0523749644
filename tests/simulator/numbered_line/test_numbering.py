"""Numbers, checksums and resends (the wire description is the source of every rule and trap here)."""

from __future__ import annotations

import pytest

from tests.simulator.numbered_line.bench import NumberedBench, numbered


def test_the_checksum_of_the_bench_is_the_xor_of_all_bytes_before_the_asterisk() -> None:
    # by hand: 'N'^'1'^' '^'M' = 0x4E^0x31^0x20^0x4D = 0x12; with '1','0','5' = 0x31^0x30^0x35 = 0x34 -> 0x26 = 38
    assert numbered(1, "M105") == "N1 M105*38"


def test_lines_in_order_are_answered_once_each() -> None:
    bench = NumberedBench()
    assert bench.greeting[0] == "start"
    assert [bench.ask(words) for words in ("G90", "G21", "M82")] == [["ok"]] * 3


def test_a_line_without_number_is_taken_too() -> None:
    bench = NumberedBench()
    bench.write("G0A10F6000\n")
    assert bench.rest() == ["ok"]
    assert bench.steps() == 1000


@pytest.mark.parametrize(
    "line",
    ["N1 G0A10*0", "N1 G0A10", "G0A10*72", numbered(1, "G0A10").replace("10", "16"), "N1 G0A10*", "N1 G0A10*-5"],
    ids=["wrong-sum", "no-sum", "sum-without-number", "damaged", "empty-sum", "negative-sum"],
)
def test_a_damaged_line_moves_nothing_and_is_asked_for_again(line: str) -> None:
    bench = NumberedBench()
    bench.write(line + "\n")
    error, resend, ok = bench.rest()
    assert error.startswith("Error:")
    assert error.endswith("Last Line: 0")
    assert (resend, ok) == ("Resend: 1", "ok")
    assert bench.steps() == 0
    assert bench.run("G0A10") == ["ok"]
    assert bench.steps() == 1000


@pytest.mark.parametrize(
    ("style", "expected"),
    [
        ("last-line", ["Error:line out of order, Last Line: 3", "Resend: 4", "ok"]),
        ("expected-got", ["Error:expected line 4 got 5", "Resend: 4", "ok"]),
    ],
    ids=["last-line", "expected-got"],
)
def test_a_line_out_of_order_is_answered_in_the_boards_words(style: str, expected: list[str]) -> None:
    bench = NumberedBench(error_style=style)
    bench.run("G90", "G21", "M82")
    bench.write(numbered(5, "G0A10") + "\n")
    assert bench.rest() == expected
    assert bench.steps() == 0


def test_the_ok_behind_a_resend_comes_before_that_of_a_line_still_under_way() -> None:
    bench = NumberedBench()
    bench.write(numbered(1, "G4P500") + "\n" + "N2 G0A10*0\n")
    assert bench.wait(0.1)[1:] == ["Resend: 2", "ok"]
    assert bench.wait(0.5) == ["ok"]


def test_some_members_send_no_ok_behind_a_resend() -> None:
    bench = NumberedBench(resend_ok=False)
    bench.write("N1 G0A10*0\n")
    assert bench.rest()[1:] == ["Resend: 1"]


def test_a_repeated_number_is_skipped_or_asked_for_anew_but_never_carried_out_twice() -> None:
    skipping, asking = NumberedBench(repeated_number="skip"), NumberedBench()
    for bench in (skipping, asking):
        bench.run("G91", "G0A10")
        bench.write(numbered(2, "G0A10") + "\n")
    assert skipping.rest() == ["skip 2", "ok"]
    assert asking.rest()[1:] == ["Resend: 3", "ok"]
    assert skipping.steps() == asking.steps() == 1000


def test_the_count_restarts_where_m110_says() -> None:
    bench = NumberedBench()
    bench.run("G90")
    bench.write(numbered(77, "M110 N41") + "\n")
    assert bench.rest() == ["ok"]
    bench.write(numbered(42, "G0A10") + "\n")
    assert bench.rest() == ["ok"]
    assert bench.steps() == 1000
    bench.write("M110 N0\n")
    bench.rest()
    bench.number = 0
    assert bench.ask("G90") == ["ok"]
    bench.write(numbered(-1, "M110") + "\n" + numbered(0, "G0A0") + "\n")
    bench.rest()
    assert bench.steps() == 0


def test_a_damaged_restart_of_the_count_is_not_believed() -> None:
    bench = NumberedBench()
    bench.run("G90")
    bench.write("N0 M110 N5*1\n")
    assert "Resend: 2" in bench.rest()


@pytest.mark.parametrize(("drops", "resends"), [(True, 1), (False, 3)], ids=["drops-input", "keeps-input"])
def test_lines_behind_a_damaged_one_are_forgotten_or_each_asked_for(drops: bool, resends: int) -> None:
    bench = NumberedBench(drops_input_on_resend=drops, command_lines=1)
    bench.write(numbered(1, "G4P500") + "\n" + numbered(2, "G4P500") + "\n")
    bench.write("N3 G0A1*0\n" + numbered(4, "G0A10") + "\n" + numbered(5, "G0A20") + "\n")
    said = bench.rest()
    assert said.count("Resend: 3") == resends
    assert said.count("ok") == 2 + resends
    assert bench.steps() == 0


def test_a_full_receive_buffer_loses_bytes_and_the_checksum_catches_it() -> None:
    bench = NumberedBench(receive_buffer=64, command_lines=1)
    bench.write("".join(numbered(n, "G4 P300 ; padding") + "\n" for n in range(1, 6)))
    assert bench.device.bytes_lost > 0
    assert bench.rest() == ["ok"] * 4
    bench.write(numbered(6, "G90") + "\n")  # joins what is left of line 5
    assert bench.rest() == ["Error:checksum, Last Line: 4", "Resend: 5", "ok"]


def test_an_unfinished_line_is_answered_with_a_resend_after_its_silence() -> None:
    bench = NumberedBench(unfinished_line_s=0.3)
    bench.write("N1 G0A1")
    assert bench.wait(0.29) == []
    assert bench.wait(0.02)[1:] == ["Resend: 1", "ok"]
    bench.write("0*33\n")
    assert bench.rest()[1:] == ["Resend: 1", "ok"]
    assert bench.steps() == 0


def test_an_unfinished_line_waits_for_ever_on_other_boards() -> None:
    bench = NumberedBench()
    line = numbered(1, "G0A10")
    bench.write(line[:5])
    assert bench.wait(100) == []
    bench.write(line[5:] + "\n")
    assert bench.rest() == ["ok"]
    assert bench.steps() == 1000


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\n\n"], ids=["lf", "crlf", "cr", "empty-line"])
def test_every_line_end_ends_one_line(end: str) -> None:
    bench = NumberedBench()
    bench.write(numbered(1, "G90") + end)
    assert bench.rest() == ["ok"]


@pytest.mark.parametrize(
    ("fields", "expected"),
    [("N", "ok N1"), ("PB", "ok P15 B4"), ("NPB", "ok N1 P15 B4")],
    ids=["number", "buffers", "all"],
)
def test_an_ok_carries_the_fields_of_its_board(fields: str, expected: str) -> None:
    bench = NumberedBench(ok_fields=fields)
    assert bench.ask("G0A10", 0.01) == [expected]
