"""Answers that come as they should, and all the ways in which they don't."""

import pytest

from firmware_host.controller.port.trace import TraceKind
from firmware_host.controller.reply import Accepted, AxisState, BufferInfo, SettingLine
from firmware_host.controller.sender import MOST_PAYLOAD
from firmware_host.errors import (
    ControllerFaultError,
    ControllerResetError,
    LineRejectedError,
    PortLostError,
    ReplyTimeoutError,
    UnexpectedReplyError,
)
from tests.controller.scripted import GREETING, IDLE, rig
from tests.support.traces import of_kind


def test_an_answer_belongs_to_its_line_with_what_came_before_it() -> None:
    r = rig()
    r.port.expect(b"$I\n", b"[VER:1:]\r\n[OPT:V,15,128]\r\nok\r\n", after_s=0.25)
    exchange = r.sender.ask(b"$I\n", timeout_s=1.0)
    assert exchange.line == b"$I\n"
    assert exchange.payload == (BufferInfo(15, 128),)
    assert isinstance(exchange.answer, Accepted)
    assert (exchange.sent_at_s, exchange.answered_at_s) == (0.0, 0.25)


ANSWER = b"$0=10\r\n$1=255\r\nok\r\n"


@pytest.mark.parametrize("cut", range(1, len(ANSWER)), ids=lambda cut: f"cut-{cut}")
def test_an_answer_cut_in_two_anywhere_is_the_same_answer(cut: int) -> None:
    r = rig()
    r.port.expect(b"$$\n", ANSWER[:cut], ANSWER[cut:])
    assert r.sender.ask(b"$$\n", timeout_s=1.0).payload == (SettingLine("$0", "10"), SettingLine("$1", "255"))


def test_answers_that_come_in_one_piece_are_matched_in_order() -> None:
    r = rig()
    r.port.expect(b"G21\n")
    r.port.expect(b"G99\n")
    r.port.expect(b"G90\n", b"ok\r\nerror:20\r\nok\r\n")
    with pytest.raises(LineRejectedError, match="refused 'G99': a word the controller does not know") as caught:
        r.sender.stream((b"G21\n", b"G99\n", b"G90\n"), timeout_s=1.0)
    assert caught.value.code == 20
    assert r.sender.unanswered_bytes == 0
    assert not r.sender.out_of_step


def test_after_a_refused_line_nothing_more_is_sent() -> None:
    r = rig()
    r.sender.usable_bytes = 8
    r.port.expect(b"G99\n")
    r.port.expect(b"G90\n", b"error:20\r\nok\r\n")
    with pytest.raises(LineRejectedError, match="G99"):
        r.sender.stream((b"G99\n", b"G90\n", b"G91\n"), timeout_s=1.0)
    assert r.port.written == [b"G99\n", b"G90\n"]


def test_a_missing_answer_makes_the_fate_unknown_and_further_lines_are_not_sent() -> None:
    r = rig()
    r.port.expect(b"G21\n")
    with pytest.raises(ReplyTimeoutError, match=r"no answer to 'G21' within 0\.5 s; whether it was carried out"):
        r.sender.ask(b"G21\n", timeout_s=0.5)
    assert r.clock.monotonic() == 0.5
    with pytest.raises(UnexpectedReplyError, match="no answer came to 'G21'; nothing is sent"):
        r.sender.ask(b"G90\n", timeout_s=0.5)
    assert r.port.written == [b"G21\n"]


def test_a_late_answer_is_not_taken_for_the_answer_to_the_next_line() -> None:
    r = rig()
    r.port.expect(b"G21\n", b"ok\r\n", after_s=0.8)
    with pytest.raises(ReplyTimeoutError, match="G21"):
        r.sender.ask(b"G21\n", timeout_s=0.5)
    r.clock.sleep(1.0)
    r.port.expect(b"$$\n", b"$1=255\r\nok\r\n")
    assert r.sender.resynchronise() == (SettingLine("$1", "255"),)
    r.port.expect(b"\n", b"ok\r\n")  # whether an error still makes it refuse every line isn't known
    r.port.expect(b"G99\n", b"error:20\r\n")
    with pytest.raises(LineRejectedError, match="G99"):  # the late ok has gone by
        r.sender.ask(b"G99\n", timeout_s=0.5)


def test_a_late_answer_just_before_the_settings_is_seen_through() -> None:
    r = rig()
    r.port.expect(b"G21\n")
    with pytest.raises(ReplyTimeoutError, match="G21"):
        r.sender.ask(b"G21\n", timeout_s=0.5)
    r.port.expect(b"$$\n", b"ok\r\n$1=255\r\nok\r\n")
    assert r.sender.resynchronise() == (SettingLine("$1", "255"),)
    assert r.sender.strays == r.sender.strays.__class__([b"ok"])


def test_a_doubled_answer_is_reported_and_ends_the_matching() -> None:
    r = rig()
    r.port.expect(b"G21\n", b"ok\r\nok\r\n")
    r.sender.ask(b"G21\n", timeout_s=0.5)
    with pytest.raises(UnexpectedReplyError, match="an answer came that no line waits for"):
        r.sender.listen(0.1)
    with pytest.raises(UnexpectedReplyError, match="nothing is sent"):
        r.sender.ask(b"G90\n", timeout_s=0.5)
    assert of_kind(r.trace, TraceKind.UNMATCHED) == (b"ok",)


@pytest.mark.parametrize(
    "damaged", [b"okok", b"k", b"o\xeb", b"error:", b"xok"], ids=["merged", "cut", "bit", "no-code", "extra"]
)
def test_a_damaged_answer_is_never_guessed_at(damaged: bytes) -> None:
    r = rig()
    r.port.expect(b"G21\n", damaged + b"\r\n")
    with pytest.raises(UnexpectedReplyError, match="came where an answer was due"):
        r.sender.ask(b"G21\n", timeout_s=0.5)
    assert r.sender.out_of_step
    assert of_kind(r.trace, TraceKind.UNMATCHED) == (damaged,)


def test_noise_while_nothing_is_awaited_is_kept_and_told_but_harmless() -> None:
    r = rig()
    r.port.say(b"\x00\xfe\r\n")
    r.sender.listen(0.1)
    assert list(r.sender.strays) == [b"\x00\xfe"]
    r.port.expect(b"G21\n", b"ok\r\n")
    r.sender.ask(b"G21\n", timeout_s=0.5)


def test_a_reset_in_the_middle_of_an_answer_is_told_as_a_reset() -> None:
    r = rig()
    r.port.expect(b"$$\n", b"$0=10\r\n$1=2x", GREETING)
    with pytest.raises(ControllerResetError, match="its position is lost"):
        r.sender.ask(b"$$\n", timeout_s=0.5)
    assert isinstance(r.sender.position_lost, ControllerResetError)
    assert r.sender.unanswered_bytes == 0
    r.port.expect(b"$$\n", b"$0=10\r\nok\r\n")  # a controller that has just started is in step
    r.sender.ask(b"$$\n", timeout_s=0.5)


def test_a_reset_between_lines_is_told_at_the_next_look() -> None:
    r = rig()
    r.port.say(GREETING)
    with pytest.raises(ControllerResetError, match="reset"):
        r.sender.listen(0.0)


def test_an_alarm_is_told_with_its_number_and_the_unanswered_line_stays_unknown() -> None:
    r = rig()
    r.port.expect(b"G53 G1 A5 F100\n", b"ALARM:2\r\n")
    with pytest.raises(ControllerFaultError, match="beyond the soft limits") as caught:
        r.sender.ask(b"G53 G1 A5 F100\n", timeout_s=0.5)
    assert caught.value.code == 2
    assert r.sender.out_of_step == "an alarm came before the answer"


def test_a_port_that_goes_away_is_told() -> None:
    r = rig()
    r.port.lost = True
    with pytest.raises(PortLostError, match="gone"):
        r.sender.ask(b"G21\n", timeout_s=0.5)


def test_an_interrupted_line_leaves_no_answer_for_the_next() -> None:
    r = rig()

    def interrupt(timeout_s: float) -> bytes:
        raise KeyboardInterrupt("Ctrl-C")

    r.port.expect(b"G21\n", b"ok\r\n")
    real, r.port.read = r.port.read, interrupt  # type: ignore[method-assign]
    with pytest.raises(KeyboardInterrupt, match="Ctrl-C"):
        r.sender.ask(b"G21\n", timeout_s=0.5)
    r.port.read = real  # type: ignore[method-assign]
    with pytest.raises(UnexpectedReplyError, match="an earlier line was left without its answer"):
        r.sender.ask(b"G99\n", timeout_s=0.5)
    assert r.port.written == [b"G21\n"]


# --- status ------------------------------------------------------------------------------------------------------


def test_a_report_that_arrived_before_asking_is_not_used() -> None:
    r = rig()
    r.port.say(b"<Idle|MPos:9.000,9.000,9.000>\r\n")
    r.port.expect(b"?", b"<Run|MPos:1.000,0.000,0.000>\r\n")
    report = r.sender.request_status(1.0)
    assert report.state is AxisState.MOVING
    assert report.machine == (1.0, 0.0, 0.0)


def test_a_damaged_report_is_asked_for_again() -> None:
    r = rig()
    r.port.expect(b"?", b"<Idle|MPos:0.000,0.0\xff,0.000>\r\n")
    r.port.expect(b"?", IDLE)
    assert r.sender.request_status(1.0).state is AxisState.READY
    assert r.clock.monotonic() < 0.1  # at once, not only when time is up
    assert r.port.written == [b"?", b"?"]
    assert len(r.sender.strays) == 1


def test_no_report_by_the_deadline_is_an_error_after_asking_more_than_once() -> None:
    r = rig()
    for _ in range(4):
        r.port.expect(b"?")
    with pytest.raises(ReplyTimeoutError, match="the state of the axis is unknown"):
        r.sender.request_status(1.0)
    assert r.port.done
    assert r.clock.monotonic() == pytest.approx(1.0)


def test_a_report_that_comes_after_the_deadline_is_not_the_answer_to_the_next_request() -> None:
    r = rig()
    r.port.expect(b"?", b"<Idle|MPos:9.000,9.000,9.000>\r\n", after_s=0.25)
    with pytest.raises(ReplyTimeoutError, match="status"):
        r.sender.request_status(0.2)
    r.port.expect(b"?", b"<Run|MPos:1.000,0.000,0.000>\r\n", after_s=0.08)
    assert r.sender.request_status(1.0).state is AxisState.MOVING


def test_a_status_request_does_not_disturb_a_line_that_waits() -> None:
    r = rig()
    r.port.expect(b"G4 P0.01\n", IDLE + b"ok\r\n")
    r.sender.ask(b"G4 P0.01\n", timeout_s=0.5)
    assert not r.sender.out_of_step


# --- buffer --------------------------------------------------------------------------------------------------------


def test_lines_go_out_only_as_far_as_the_buffer_takes_them() -> None:
    r = rig()
    r.sender.usable_bytes = 10
    r.port.expect(b"G21\n")
    r.port.expect(b"G90\n", b"ok\r\n", after_s=0.1)
    r.port.expect(b"G94\n", b"ok\r\nok\r\n", after_s=0.1)
    exchanges = r.sender.stream((b"G21\n", b"G90\n", b"G94\n"), timeout_s=1.0)
    assert [exchange.sent_at_s for exchange in exchanges] == [0.0, 0.0, 0.1]
    assert [exchange.answered_at_s for exchange in exchanges] == [0.1, 0.2, 0.2]


def test_a_line_that_stores_goes_alone() -> None:
    r = rig()
    r.port.expect(b"G21\n", b"ok\r\n", after_s=0.1)
    r.port.expect(b"$1=255\n", b"ok\r\n", after_s=0.1)
    r.port.expect(b"G90\n", b"ok\r\n", after_s=0.1)
    exchanges = r.sender.stream((b"G21\n", b"$1=255\n", b"G90\n"), timeout_s=1.0)
    assert [exchange.sent_at_s for exchange in exchanges] == pytest.approx([0.0, 0.1, 0.2])


def test_a_line_too_long_is_refused_before_anything_of_it_is_sent() -> None:
    r = rig()
    with pytest.raises(LineRejectedError, match="81 bytes long, limit 80; nothing was sent"):
        r.sender.ask(b"G1" + b"0" * 78 + b"\n", timeout_s=1.0)
    assert r.port.written == []


def test_resynchronising_gives_up_when_the_settings_do_not_come() -> None:
    r = rig()
    r.port.expect(b"$$\n", b"ok\r\n")
    r.port.expect(b"$$\n", b"error:8\r\n")
    with pytest.raises(ReplyTimeoutError, match="asked for twice and not printed"):
        r.sender.resynchronise()
    assert r.sender.out_of_step


# --- everything read is bounded ------------------------------------------------------------------------------------


def test_a_settings_list_without_an_end_is_not_kept() -> None:
    r = rig()
    for _ in range(2):
        r.port.expect(b"$$\n", b"$1=255\r\n" * (MOST_PAYLOAD + 500) + b"ok\r\n")
    with pytest.raises(ReplyTimeoutError, match="asked for twice and not printed"):
        r.sender.resynchronise()
    assert b"$1=255" in r.sender.strays


def test_an_answer_with_too_much_before_it_is_damaged() -> None:
    r = rig()
    r.port.expect(b"$$\n", b"$1=255\r\n" * (MOST_PAYLOAD + 1) + b"ok\r\n")
    with pytest.raises(UnexpectedReplyError, match=f"more than {MOST_PAYLOAD} lines came before an answer"):
        r.sender.ask(b"$$\n", timeout_s=1.0)
    assert r.sender.out_of_step


def test_of_messages_and_of_bytes_that_fit_nothing_only_the_newest_are_kept() -> None:
    r = rig()
    r.port.say(b"".join(b"[MSG:number %d]\r\n\xff%d\r\n" % (number, number) for number in range(1000)))
    r.sender.listen(0.1)
    assert (len(r.sender.messages), r.sender.messages[-1]) == (200, "MSG:number 999")
    assert (len(r.sender.strays), r.sender.strays[-1]) == (200, b"\xff999")
    r.port.say(b"\xff" * 1000 + b"\r\n")
    r.sender.listen(0.1)
    assert r.sender.strays[-1] == b"\xff" * 256
