"""Every line that three real boards were heard to say is understood."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from firmware_host.controller.port.framing import LineFramer
from firmware_host.controller.reply import (
    Accepted,
    AlarmReport,
    AxisLetters,
    BufferInfo,
    Greeting,
    Message,
    ParserState,
    Rejected,
    Reply,
    ResetAwaited,
    SettingLine,
    StatusReport,
    Unknown,
)
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from tests.support.recorded_board import RECORDINGS

BOARDS = {"status_query_a": "XYZ", "status_query_b": "XYZAB", "status_query_c": "XYZA"}
_HEARD = re.compile(r" *[\d.]+ < ?(.*)")
DIALECT = StatusQueryDialect()


def heard(board: str) -> Iterator[bytes]:
    """What the board said, line by line; empty ones too."""
    for line in (RECORDINGS / f"{board}.txt").read_text("utf-8").splitlines():
        if match := _HEARD.fullmatch(line):
            yield match[1].encode()


def replies(board: str) -> list[Reply]:
    framer = LineFramer()
    lines = [line for text in heard(board) for line in framer.feed(text + b"\r\n")]
    return [DIALECT.parse(line) for line in lines]


@pytest.mark.parametrize("board", BOARDS)
def test_every_line_that_a_real_board_says_is_understood(board: str) -> None:
    found = replies(board)
    assert [reply for reply in found if isinstance(reply, Unknown)] == []
    kinds = {Accepted, Rejected, StatusReport, SettingLine, Greeting, AlarmReport, BufferInfo, ParserState, Message}
    assert {type(reply) for reply in found} >= kinds


@pytest.mark.parametrize(("board", "letters"), BOARDS.items(), ids=BOARDS)
def test_reports_have_as_many_positions_as_the_board_has_axes_and_some_tell_the_letters(
    board: str, letters: str
) -> None:
    found = replies(board)
    told = {reply.letters for reply in found if isinstance(reply, AxisLetters)}
    assert told == (set() if board == "status_query_a" else {letters})
    reports = [reply for reply in found if isinstance(reply, StatusReport)]
    assert {len(report.machine or report.work or ()) for report in reports} == {len(letters)}
    assert {len(report.offset) for report in reports if report.offset is not None} == {len(letters)}


@pytest.mark.parametrize(
    ("board", "buffer", "settings"),
    [
        pytest.param("status_query_a", BufferInfo(15, 128), 34, id="three-axes"),
        pytest.param("status_query_b", BufferInfo(35, 255), 42, id="five-axes"),
        pytest.param("status_query_c", BufferInfo(100, 1024), 91, id="32-bit"),
    ],
)
def test_buffers_and_all_settings_are_taken_as_they_are_told(board: str, buffer: BufferInfo, settings: int) -> None:
    found = replies(board)
    assert buffer in found
    told = {reply.key: reply.text for reply in found if isinstance(reply, SettingLine)}
    assert len(told) == settings
    for line in heard(board):
        key, equals, text = line.decode().partition("=")
        if key[1:].isdigit() and equals:
            assert SettingLine(key, text) in found


def test_each_reset_is_heard_as_a_greeting_whichever_form_it_has() -> None:
    resets = {
        board: sum(b" for help]" in line for line in heard(board)) for board in BOARDS
    }  # of the recordings themselves
    assert {board: sum(isinstance(reply, Greeting) for reply in replies(board)) for board in BOARDS} == resets
    assert isinstance(DIALECT.parse(b"N 9.9 ['$' or '$HELP' for help] [more]"), Greeting)


def test_a_board_that_hears_only_a_reset_after_an_alarm_says_so() -> None:
    for board in ("status_query_a", "status_query_b"):
        found = replies(board)
        assert any(isinstance(reply, ResetAwaited) for reply in found)
        assert all(DIALECT.awaits_reset(reply) for reply in found if reply == DIALECT.parse(b"ALARM:2"))
    assert not any(map(DIALECT.awaits_reset, replies("status_query_c")))


@pytest.mark.parametrize(
    "line",
    [
        pytest.param(b"[AXS:5:XYZA]", id="a-letter-lost"),
        pytest.param(b"[AXS:4:XYZZ]", id="a-letter-doubled"),
        pytest.param(b"[AXS:XYZA]", id="no-count"),
    ],
)
def test_a_damaged_line_of_axes_names_none(line: bytes) -> None:
    assert DIALECT.parse(line) == Unknown(line)


def test_a_setting_that_only_one_board_has_is_kept_as_it_is_told_and_a_known_one_must_be_a_number() -> None:
    assert DIALECT.parse(b"$74=my net") == SettingLine("$74", "my net")
    assert DIALECT.listed_setting_line("$74", "my net") == b"$74=my net\n"
    assert DIALECT.listed_setting_line("$103", "26.66667") == b"$103=26.66667\n"
    assert DIALECT.parse(b"$103=26.6x7") == Unknown(b"$103=26.6x7")
