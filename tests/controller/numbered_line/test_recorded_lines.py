"""What real boards say where something is amiss, line by line from their recordings."""

from __future__ import annotations

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.controller.connecting import connect
from firmware_host.controller.numbered_line.dialect import NumberedLineDialect
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.errors import ControllerResetError, LineRejectedError
from tests.controller.numbered_line.test_recorded_boards import A, B, opened
from tests.controller.numbered_line.test_sender import rig
from tests.support.recorded_board import RecordedBoard

WRONG = b"Error:Wrong checksum\nGot:N2 G21*45\nError:Wrong checksum\n\nResend:2\nok\n"
MISMATCH = b"Error:checksum mismatch, Last Line: 1\nResend: 2\nok\n"


# --- answers -------------------------------------------------------------------------------------------------------


def test_a_repeated_line_and_an_answer_with_its_number_are_no_damage() -> None:
    r = rig()
    r.expect(2, b"G21", b"Got:N2 G21*44\nok 2\n")
    exchange = r.sender.ask(b"G21\n", timeout_s=1.0)
    assert exchange.certain
    assert (r.sender.repeats_lines, r.sender.numbers_answers) == (True, True)
    assert list(r.sender.strays) == []


def test_an_answer_that_has_the_number_of_another_line_is_no_answer() -> None:
    r = rig()
    r.expect(2, b"G21", b"Got:N2 G21*44\nok 1\n", b"ok 2\n")
    r.sender.ask(b"G21\n", timeout_s=1.0)
    assert list(r.sender.strays) == [b"ok 1"]


@pytest.mark.parametrize("answers", [(b"X:1.00 Y:0.00 Z:0.000 E:0.0000\nXS:73 YS:0 ZS:0\n", b"ok 2\n")], ids=["before"])
def test_whole_steps_on_a_line_of_their_own_belong_to_the_position_before_them(answers: tuple[bytes, ...]) -> None:
    for order in (answers, answers[::-1]):
        r = rig()
        r.sender.counts_apart = True
        r.expect(2, b"M114 S1", b"".join(order))
        report = r.sender.request_status(1.0)
        assert report.counts == {"X": 73, "Y": 0, "Z": 0}
        assert report.machine == (1.0, 0.0, 0.0, 0.0)


def test_a_position_whose_steps_were_lost_is_asked_for_again() -> None:
    r = rig()
    r.sender.counts_apart = True
    r.expect(2, b"M114 S1", b"ok 2\nX:1.00 Y:0.00 Z:0.000 E:0.0000\nXS:73 Y\n")
    r.expect(3, b"M114 S1", b"ok 3\nX:1.00 Y:0.00 Z:0.000 E:0.0000\nXS:73 YS:0 ZS:0\n")
    assert r.sender.request_status(2.0).counts == {"X": 73, "Y": 0, "Z": 0}


def test_a_position_that_lost_its_end_with_the_steps_is_asked_for_again() -> None:
    r = rig()
    r.expect(2, b"M114", b"X:1.00 Y:0.00 Z:0.00 E:0.00 Count X:80 Y:0 Z:0\nok\n")
    assert r.sender.request_status(1.0).counts == {"X": 80, "Y": 0, "Z": 0}
    r.expect(3, b"M114", b"X:1.00 Y:0.00 Z:0.00 E:0.00\nok\n")
    r.expect(4, b"M114", b"X:1.00 Y:0.00 Z:0.00 E:0.00 Count X:80 Y:0 Z:0\nok\n")
    assert r.sender.request_status(2.0).counts == {"X": 80, "Y": 0, "Z": 0}


# --- damage --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("told", [WRONG, MISMATCH], ids=["a", "b"])
def test_a_checksum_error_that_a_resend_has_mended_is_no_refusal(told: bytes) -> None:
    r = rig()
    r.expect(2, b"G21", told)
    r.expect(2, b"G21", b"ok\n")
    assert r.sender.ask(b"G21\n", timeout_s=1.0).certain


@pytest.mark.parametrize("told", [WRONG, MISMATCH], ids=["a", "b"])
def test_a_checksum_error_is_no_refusal_either_where_the_request_to_send_again_was_lost(told: bytes) -> None:
    r = rig()
    r.expect(2, b"G21", told.replace(b"Resend:2", b"Re").replace(b"Resend: 2", b"Re"))
    r.expect(2, b"G21", b"ok\n")
    assert r.sender.ask(b"G21\n", timeout_s=1.0).certain


def test_a_lost_line_end_that_is_answered_again_and_again_is_mended() -> None:
    r = rig()
    again = b"\nResend:2\nok\n"
    r.port.expect(r.sender.dialect.numbered(2, b"G21\n"), again, after_s=0.2)
    r.expect(2, b"G21", b"Got:N2 G21*44\nok 2\n")
    exchange = r.sender.ask(b"G21\n", timeout_s=1.0)
    assert exchange.certain
    assert exchange.answered_at_s - exchange.sent_at_s < 0.3


def test_a_lost_line_end_after_which_the_line_is_joined_with_its_repetition_is_mended() -> None:
    r = rig()
    r.expect(2, b"G21")  # it waits for the end of the line, and says nothing
    r.expect(2, b"G21", MISMATCH)  # both together
    r.expect(2, b"G21", b"ok\n")
    assert r.sender.ask(b"G21\n", timeout_s=2.0).certain


def test_a_request_that_is_repeated_by_itself_is_served_once() -> None:
    r = rig()
    r.expect(2, b"G21", b"Error:expected line 2 got 200\n\nResend:2\nok\n")
    r.expect(2, b"G21", b"\nResend:2\nok\nGot:N2 G21*44\nok 2\n")  # the repetition was on its way
    r.expect(2, b"G21", b"Got:N2 G21*44\nskip 2\nok\n")
    r.sender.ask(b"G21\n", timeout_s=2.0)
    assert r.port.done
    r.expect(3, b"G90", b"Got:N3 G90*1\nok 3\n")
    assert r.sender.ask(b"G90\n", timeout_s=1.0).certain


def test_half_a_line_left_behind_is_answered_again_and_again_and_holds_nobody_up() -> None:
    clock = VirtualClock()
    board = RecordedBoard(clock, A, counted=41)
    for moment in range(1, 40):
        board.say(b"", b"Resend:42", b"ok", after_s=0.2 * moment)
    controller = connect(board, NumberedLineDialect(), clock, MemoryTrace(clock), axis="X", greeting_timeout_s=0.5)
    assert controller.learned.axes.value == "XYZ"


# --- missing words and refusals ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "told",
    [b"Got:N2 M410*1\nok 2\nUnknown command:N2 M410\n", b'echo:Unknown command: "M410"\nok\n'],
    ids=["behind the answer", "before it"],
)
def test_an_unknown_word_is_told_as_one_and_not_waited_for(told: bytes) -> None:
    r = rig()
    r.expect(2, b"M410", told)
    started_s = r.clock.monotonic()
    with pytest.raises(LineRejectedError, match="refused 'M410': a word the controller does not know"):
        r.sender.ask(b"M410\n", timeout_s=5.0, until=lambda payload: False)
    assert r.clock.monotonic() - started_s < 0.5
    assert not r.sender.out_of_step


@pytest.mark.parametrize("name", [A, B])
def test_a_word_for_an_output_that_a_board_lacks_or_refuses_is_told_at_once(name: str) -> None:
    _, controller = opened(name)
    with pytest.raises(LineRejectedError, match="refused 'M42 P54 S255'"):
        controller.set_output(54, True)


def test_an_output_that_a_board_has_is_switched() -> None:
    board, controller = opened(A)
    controller.set_output(44, True)
    assert any(b"M42 P44 S255" in line for line in board.written)


@pytest.mark.parametrize("coordinate", ["600", "-5"])
def test_a_move_that_a_board_leaves_out_and_accepts_is_told_as_refused(coordinate: str) -> None:
    board, controller = opened(A)
    controller.prepare()
    with pytest.raises(LineRejectedError, match="it stays at 0 units, and keeps between 0 and 418 units"):
        controller.move_to(coordinate, "6000")
    assert board.written[-1].split(b" ", 1)[1].startswith(b"M114 S1")


# --- signs of life -------------------------------------------------------------------------------------------------


def test_waiting_for_a_line_is_no_sign_of_a_standstill() -> None:
    r = rig()
    r.port.expect(r.sender.dialect.numbered(2, b"M400\n"), b"wait\n", after_s=0.5)
    r.port.say(b"wait\nbusy:processing\nok 2\n", after_s=1.4)
    exchange = r.sender.ask(b"M400\n", timeout_s=3.0, repeat_s=3.0)
    assert exchange.answered_at_s - exchange.sent_at_s == pytest.approx(1.4)


def test_a_board_that_begins_anew_after_a_halt_has_lost_its_position() -> None:
    board, controller = opened(A)
    board.say(b"start", b"Detected EEPROM version:20", b"Free RAM:3566", b"SelectExtruder:0", b"FlowMultiply:100")
    with pytest.raises(ControllerResetError, match="it was reset: its position is lost"):
        controller.status()
    assert controller.position_lost
