"""Raw traces in, replies out. The traces follow the wire description of the dialect."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_host.controller.reply import (
    Accepted,
    AlarmReport,
    AxisState,
    BufferInfo,
    Greeting,
    Message,
    ParserState,
    Rejected,
    Reply,
    SettingLine,
    StatusReport,
    Unknown,
)
from firmware_host.controller.status_query.dialect import StatusQueryDialect

DIALECT = StatusQueryDialect()


@pytest.mark.parametrize(
    ("line", "reply"),
    [
        pytest.param(b"ok", Accepted(), id="accepted"),
        pytest.param(b"error:20", Rejected(20, "a word the controller does not know"), id="rejected"),
        pytest.param(b"ALARM:3", AlarmReport(3, "reset while moving; position lost"), id="alarm"),
        pytest.param(b"Board 9z ['$' for help]", Greeting("Board 9z ['$' for help]"), id="greeting"),
        pytest.param(b"<Idle|MPBoard ['$' for help]", Greeting("<Idle|MPBoard ['$' for help]"), id="greeting-mid-line"),
        pytest.param(b"[MSG:Caution]", Message("MSG:Caution"), id="message"),
        pytest.param(b"[OPT:VNM,15,128]", BufferInfo(15, 128), id="buffer"),
        pytest.param(b"[OPT:,35,254,4,XYZA]", BufferInfo(35, 254), id="buffer-with-more-fields"),
        pytest.param(b"[GC:G0 G54 G21 F0]", ParserState(("G0", "G54", "G21", "F0")), id="modes"),
        pytest.param(b"$103=26.667", SettingLine("$103", "26.667"), id="setting"),
        pytest.param(b"$1=255 (step idle delay, msec)", SettingLine("$1", "255"), id="setting-with-comment"),
        pytest.param(b"$100=250.00000", SettingLine("$100", "250.00000"), id="setting-of-five-decimals"),
        pytest.param(b"B ['$' or '$HELP' for help]", Greeting("B ['$' or '$HELP' for help]"), id="newer-greeting"),
        pytest.param(b"$300=bench", SettingLine("$300", "bench"), id="setting-with-text"),
    ],
)
def test_a_line_is_understood(line: bytes, reply: Reply) -> None:
    assert DIALECT.parse(line) == reply


def test_a_full_status_report_is_understood_and_unknown_fields_are_skipped() -> None:
    line = b"<Run|MPos:1.000,-2.500,0.000,12.340|Bf:14,120|FS:600,0|Ov:100,100,100|Pn:XZ|A:S|New:thing>"
    assert DIALECT.parse(line) == StatusReport(
        state=AxisState.MOVING,
        machine=(1.0, -2.5, 0.0, 12.34),
        pins="XZ",
    )


def test_a_work_position_is_not_taken_for_a_machine_position() -> None:
    report = DIALECT.parse(b"<Idle|WPos:1.000,2.000,3.000|WCO:10.000,0.000,-1.000>")
    assert isinstance(report, StatusReport)
    assert report.machine is None
    assert report.work == (1.0, 2.0, 3.0)
    assert report.offset == (10.0, 0.0, -1.0)


@pytest.mark.parametrize(
    ("word", "state", "stands_still"),
    [
        ("Idle", AxisState.READY, True),
        ("Run", AxisState.MOVING, False),
        ("Hold:0", AxisState.HOLDING, True),
        ("Hold:1", AxisState.SLOWING, False),
        ("Hold", AxisState.SLOWING, False),
        ("Jog", AxisState.MOVING, False),
        ("Alarm", AxisState.LOCKED, True),
        ("Door:0", AxisState.DOOR, True),
        ("Door:2", AxisState.SLOWING, False),
        ("Check", AxisState.CHECKING, True),
        ("Home", AxisState.HOMING, False),
        ("Sleep", AxisState.ASLEEP, True),
    ],
)
def test_a_state_word_is_told_in_our_words(word: str, state: AxisState, stands_still: bool) -> None:
    report = DIALECT.parse(f"<{word}|MPos:0.000,0.000,0.000>".encode())
    assert isinstance(report, StatusReport)
    assert report.state is state
    assert report.state.stands_still is stands_still


@pytest.mark.parametrize(
    "line",
    [
        pytest.param(b"okok", id="merged-answers"),
        pytest.param(b"o", id="cut-answer"),
        pytest.param(b"OK", id="wrong-case"),
        pytest.param(b"error:", id="no-code"),
        pytest.param(b"error:2x", id="damaged-code"),
        pytest.param(b"\xfeok", id="not-ascii"),
        pytest.param(b"<Idle|MPos:0.000,0.000,0.000", id="status-without-end"),
        pytest.param(b"<Idle|MPos:0.000,0.00,0.000>", id="status-with-a-lost-digit"),
        pytest.param(b"<Idle|MPos:0.000,0.000,0.0007,1>", id="status-with-a-lost-point"),
        pytest.param(b"<Idle|Pos:0.000,0.000,0.000>", id="status-without-position"),
        pytest.param(b"<Idle|MPos:0.000,0.000,0.000|WPos:0.000,0.000,0.000>", id="two-positions"),
        pytest.param(b"<Ilde|MPos:0.000,0.000,0.000>", id="unknown-state"),
        pytest.param(b"<Idle|MPos:0.000,0.000,0.000|Bf:15>", id="half-a-count"),
        pytest.param(b"$103=26.6x7", id="damaged-setting"),
        pytest.param(b"[OPT:V,15]", id="short-buffer"),
        pytest.param(b"[MSG:cut", id="message-without-end"),
        pytest.param(b"noise", id="noise"),
    ],
)
def test_a_damaged_line_is_unknown_and_keeps_its_bytes(line: bytes) -> None:
    assert DIALECT.parse(line) == Unknown(line)


def test_an_alarm_with_a_damaged_number_is_still_an_alarm() -> None:
    assert DIALECT.parse(b"ALARM:\x7f") == AlarmReport(None, "alarm of unknown meaning")


@given(st.binary(max_size=120))
def test_no_bytes_whatever_make_the_parser_raise(line: bytes) -> None:
    assert isinstance(DIALECT.parse(line), Reply)


@given(st.lists(st.integers(-(10**8), 10**8), min_size=3, max_size=6))
def test_positions_survive_the_way_through_a_report(thousandths: list[int]) -> None:
    texts = [f"{'-' if n < 0 else ''}{abs(n) // 1000}.{abs(n) % 1000:03d}" for n in thousandths]
    report = DIALECT.parse(f"<Idle|MPos:{','.join(texts)}>".encode())
    assert isinstance(report, StatusReport)
    assert report.machine == tuple(n / 1000 for n in thousandths)


#: What each number is about: seen on real boards, or from memory, like the dialect's own table.
MEANINGS = {
    "error": {
        1: "letter", 2: "number", 3: "no such", 4: "negative", 5: "homing is switched off", 6: "pulse",
        7: "stored line", 8: "ready", 9: "locked", 10: "soft limits", 11: "too long", 12: "steps per second",
        13: "door", 14: "too long", 15: "travel", 16: "jog line",
        20: "does not know", 21: "modal group", 22: "feed", 23: "whole number", 24: "both use", 25: "twice",
        26: "axis words are missing", 33: "reached", 36: "nothing uses", 53: "no such setting",
    },
    "ALARM": {
        1: "limit switch", 2: "soft limits", 3: "reset while moving", 6: "reset while homing", 7: "door opened",
        8: "let go", 9: "no switch",
    },
}  # fmt: skip


@pytest.mark.parametrize("word", MEANINGS)
def test_each_number_has_its_own_meaning_and_any_other_is_said_to_be_unknown(word: str) -> None:
    for number in range(1, 100):
        reply = DIALECT.parse(f"{word}:{number}".encode())
        assert isinstance(reply, AlarmReport | Rejected)
        assert MEANINGS[word].get(number, "unknown meaning") in reply.meaning, number
        assert ("unknown meaning" in reply.meaning) == (number not in MEANINGS[word]), number
