"""Every literal of the dialect: what is said, and what is understood."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_host.controller.numbered_line.dialect import NumberedLineDialect
from firmware_host.controller.reply import (
    Accepted,
    AlarmReport,
    AxisState,
    Busy,
    Complaint,
    Damaged,
    Greeting,
    Identity,
    Message,
    RateUnit,
    Repeated,
    Reply,
    Resend,
    SettingGroup,
    SettingLine,
    Skipped,
    StartRule,
    StatusReport,
    StepCounts,
    TravelEnds,
    TravelKept,
    Unknown,
    UnknownWord,
    Waiting,
)
from firmware_host.errors import InputError

D = NumberedLineDialect()


def group(code: str, per_s: bool | None = None, **values: str) -> SettingGroup:
    return SettingGroup(tuple(SettingLine(f"{code} {letter}", value) for letter, value in values.items()), per_s)


@pytest.mark.parametrize(
    ("line", "reply"),
    [
        (b"start", Greeting("start")),
        (b"ok", Accepted()),
        (b"ok N12 P15 B3", Accepted(12, 15)),
        (b"ok P15 B3", Accepted(None, 15)),
        (b"Resend: 5", Resend(5)),
        (b"Resend:5", Resend(5)),
        (b"skip 7", Skipped(7)),
        (b"wait", Waiting()),
        (b"echo:busy: processing", Busy()),
        (b"echo:Settings Stored", Message("Settings Stored")),
        (b'echo:Unknown command: "M999"', UnknownWord()),
        (b"Unknown command:N44 M9999", UnknownWord(number=44)),
        (b"Unknown command:N47  X1.00", UnknownWord(number=47)),
        (b"Error:checksum mismatch, Last Line: 4", Damaged()),
        (b"Error:Wrong checksum", Damaged()),
        (b"Error:Line Number is not Last Line Number+1, Last Line: 38", Damaged()),
        (b"Error:expected line 4 got 5", Damaged()),
        (b"Error:Pin can not be set", Complaint("it says that it could not carry it out")),
        (b"ok 17", Accepted(17)),
        (b"Got:N5 M114 R*80", Repeated(5)),
        (b"Got:", Repeated(None)),
        (b"busy:processing", Busy()),
        (b"XS:727 YS:0 ZS:-3", StepCounts({"X": 727, "Y": 0, "Z": -3})),
        (b"Info:Configuration stored to EEPROM.", Message("Info:Configuration stored to EEPROM.")),
        (b"  M205 B20000.00 S0.00 T0.00 J0.01", StartRule({})),
        (b"echo:  M205 S0.00 T0.00 X8.00 Y8.00", StartRule({"X": "8.00", "Y": "8.00"})),
        (b"  M211 S1 ; ON", TravelKept(on=True)),
        (b"  Min:  X0.00 Y-1.00   Max:  X200.00 Y99.00", TravelEnds({"X": 0, "Y": -1}, {"X": 200, "Y": 99})),
        (b"EPR:3 145 418.000 X max length [mm]", TravelEnds(lengths={"X": 418})),
        (b"EPR:3 63 1000.000 X-axis travel acceleration [mm/s^2]", group("M202", X="1000.000")),
        (b"EPR:3 39 25.000 Max. jerk [mm/s]", group("M207", X="25.000")),
        (b"EPR:3 27 40.000 X-axis homing feedrate [mm/s]", Message("EPR:3 27 40.000 X-axis homing feedrate [mm/s]")),
        (b"Error:Printer halted", AlarmReport(None, "halted")),
        (b"!!", AlarmReport(None, "halted")),
        (b"fatal:no motion", AlarmReport(None, "halted by an error of its own")),
        (b"FIRMWARE_NAME:some board AXIS_COUNT:4", Identity()),
        (b"Cap:EEPROM:1", Message("Cap:EEPROM:1")),
        (b"echo:; highest rate, units/s", RateUnit(per_s=True)),
        (b"echo:; highest rate, units/min", RateUnit(per_s=False)),
        (b"echo:; highest acceleration, units/s2", Message("; highest acceleration, units/s2")),
        (b"echo: M92 X80.00 A26.67", group("M92", X="80.00", A="26.67")),
        (b"echo:  M201 X500.00 ; units/s2", group("M201", X="500.00")),
        (b"M203 X300.00", group("M203", X="300.00")),
        (b"echo: M204 P500.00 R600.00 T700.00", group("M204", P="500.00", R="600.00", T="700.00")),
        (b"echo: M204 P22.20 I1.08 D114.00", Message("M204 P22.20 I1.08 D114.00")),
        (b"EPR:3 3 80.0000 X-axis steps per mm", group("M92", X="80.0000")),
        (b"EPR:3 27 200.00 A-axis max. feedrate [mm/s]", group("M203", True, A="200.00")),
        (b"EPR:3 27 200.00 A-axis max. feedrate [mm/min]", group("M203", False, A="200.00")),
        (b"EPR:3 63 500.0 A-axis acceleration [mm/s^2]", group("M201", A="500.0")),
        (b"EPR:2 75 115200 Baudrate", Message("EPR:2 75 115200 Baudrate")),
    ],
    ids=lambda value: value.decode() if isinstance(value, bytes) else "",
)
def test_a_line_is_understood(line: bytes, reply: Reply) -> None:
    assert D.parse(line) == reply


def test_a_place_without_steps_is_a_report_that_counts_none() -> None:
    report = D.parse(b"X:10.00 Y:0.00 Z:0.000 E:0.0000")
    assert report == StatusReport(AxisState.READY, (10.0, 0.0, 0.0, 0.0), letters="XYZE")


def test_a_report_tells_places_by_letter_and_steps() -> None:
    report = D.parse(b"X:0.00 Y:-1.50 Z:0.00 A:26.67 E:0.00 Count X:0 Y:-120 Z:0 A:711")
    assert isinstance(report, StatusReport)
    assert report.letters == "XYZAE"
    assert report.machine == (0.0, -1.5, 0.0, 26.67, 0.0)
    assert report.counts == {"X": 0, "Y": -120, "Z": 0, "A": 711}
    assert D.parse(b"X:0.00 Y:0.00 Z:0.00 E:0.00 Count X: 0 Y:0 Z:7") == StatusReport(
        AxisState.READY, (0.0, 0.0, 0.0, 0.0), letters="XYZE", counts={"X": 0, "Y": 0, "Z": 7}
    )


@pytest.mark.parametrize(
    "line",
    [
        b"okok",
        b"k",
        b"o\xeb",
        b"ok N",
        b"ok X5",
        b"Resend: ",
        b"Resend: 5x",
        b"skip",
        b"star",
        b"waitwait",
        b"X:0.00 Y:0.00",
        b"X:10.00 Y:0.00 Z:0.",
        b"X:10.00 Y:0.00 X:0.000",
        b"XS:727 YS:",
        b"XS:727 XS:0",
        b"XS:727YS:0",
        b"ok 1x",
        b"X:0.00 Count",
        b"X:0.00 X:1.00 Count X:0",
        b"X:0.00 Count X:0 X:1",
        b"X:0.00 Count X:0.5",
        b"X:0.0\xff0 Count X:0",
        b"",
    ],
    ids=repr,
)
def test_a_damaged_line_is_unknown_and_keeps_its_bytes(line: bytes) -> None:
    assert D.parse(line) == Unknown(line)


@given(st.binary(max_size=80) | st.from_regex(rb"(ok|Resend|echo|EPR|Error|M92|X:1 Count)[ -~]{0,40}", fullmatch=True))
def test_no_bytes_whatever_make_the_parser_raise(line: bytes) -> None:
    assert isinstance(D.parse(line), Reply)


def test_number_and_checksum_stand_around_the_line() -> None:
    # XOR by hand: N^1=7F ^space=5F ^M=12 ^1=23 ^1=12 ^5=27, which is 39
    assert D.numbered(1, D.identity_query()) == b"N1 M115*39\n"
    assert D.count_from(0) == b"N0 M110 N0*125\n"


@given(number=st.integers(0, 10**8), steps=st.integers(-(10**9), 10**9))
def test_the_checksum_makes_the_exclusive_or_of_all_bytes_zero(number: int, steps: int) -> None:
    line = D.numbered(number, D.move_line("A", f"{steps / 1000:.3f}", "600"))
    text, star, checksum = line.rstrip(b"\n").rpartition(b"*")
    assert star
    total = int(checksum)
    for byte in text:
        total ^= byte
    assert total == 0
    assert re.fullmatch(rb"N%d G1 A-?\d+\.\d{3} F600" % number, text)


@pytest.mark.parametrize(
    ("coordinate", "feed"), [("1e3", "600"), ("1 A2", "600"), ("1\n", "600"), ("1", "0"), ("1", "-5"), ("1", "5*3")]
)
def test_a_text_that_is_no_number_makes_no_line(coordinate: str, feed: str) -> None:
    with pytest.raises(InputError, match="is not a decimal number"):
        D.move_line("A", coordinate, feed)


@pytest.mark.parametrize("coordinate", ["1e3", "1 B2", "1\n", "nan", "12345678", ""], ids=repr)
def test_a_place_that_is_no_number_makes_no_line(coordinate: str) -> None:
    assert D.place_line("A", "-12.345678") == b"G92 A-12.345678\n"
    with pytest.raises(InputError, match="is not a decimal number"):
        D.place_line("A", coordinate)


@pytest.mark.parametrize("axis", ["", "E", "AA", "a", "N", "1"], ids=repr)
def test_a_letter_that_is_no_axis_is_refused(axis: str) -> None:
    for line in (D.home_line, D.zero_line, D.setting_names, lambda letter: D.move_line(letter, "1", "60")):
        with pytest.raises(InputError, match="is not an axis letter"):
            line(axis)


def test_only_steps_per_unit_rescale_and_name_their_axis() -> None:
    assert [D.scaled_axis(key) for key in ("M92 A", "M92 E", "M203 A", "M201 A", "M92")] == [
        "A",
        "",
        "",
        "",
        "",
    ]  # E is a feeder, no axis
    assert D.rescales("M92 A")
    assert not D.rescales("M203 A")
