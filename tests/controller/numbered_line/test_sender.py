"""Numbered lines to the byte: what is sent again, what is taken for an answer, and what is not."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pytest

from firmware_host.acts import FindControllers
from firmware_host.clock import VirtualClock
from firmware_host.controller.numbered_line.dialect import NumberedLineDialect
from firmware_host.controller.numbered_line.exchanging import REPEAT_S
from firmware_host.controller.numbered_line.sender import COUNT_S, NumberingSender
from firmware_host.controller.port.trace import MemoryTrace, TraceKind
from firmware_host.controller.reply import Identity, StatusReport
from firmware_host.errors import (
    ControllerFaultError,
    ControllerResetError,
    DialectError,
    LineRejectedError,
    ReplyTimeoutError,
    UnexpectedReplyError,
)
from tests.support.scripted_port import ScriptedPort
from tests.support.traces import of_kind

D = NumberedLineDialect()
PROBE = D.probe()
REPORT = b"X:0.00 A:1.00 Count X:0 A:100\n"
WANTS_1 = b"Error:line out of order, Last Line: 0\nResend: 1\nok\n"


@dataclass
class Rig:
    clock: VirtualClock
    port: ScriptedPort
    trace: MemoryTrace
    sender: NumberingSender

    def expect(self, number: int, words: bytes, *answers: bytes, after_s: float = 0.003) -> None:
        self.port.expect(D.numbered(number, words + b"\n"), *answers, after_s=after_s)


def rig() -> Rig:
    """In step, line 1 being the last one taken."""
    clock = VirtualClock()
    port = ScriptedPort(clock)
    trace = MemoryTrace(clock)
    r = Rig(clock, port, trace, NumberingSender(port, D, clock, trace))
    port.expect(PROBE, WANTS_1.replace(b"1", b"8").replace(b"0", b"7"))
    port.expect(D.count_from(0), b"ok\n")
    port.expect(PROBE, WANTS_1)
    r.expect(1, b"M115", b"FIRMWARE_NAME:board\nok\n")
    r.sender.resynchronise()
    assert port.done
    port.written.clear()
    return r


def test_getting_in_step_learns_the_count_and_sets_it() -> None:
    r = rig()
    assert r.sender.count_found == 7
    assert not r.sender.out_of_step
    assert list(r.sender.strays) == []


def test_nothing_is_sent_before_the_count_is_known() -> None:
    clock = VirtualClock()
    port = ScriptedPort(clock)
    sender = NumberingSender(port, D, clock, MemoryTrace(clock))
    with pytest.raises(UnexpectedReplyError, match="its line count is not known yet; nothing is sent"):
        sender.ask(b"G21\n", timeout_s=1.0)
    assert port.written == []


def test_silence_is_no_dialect() -> None:
    clock = VirtualClock()
    port = ScriptedPort(clock)
    for _ in range(math.ceil(COUNT_S / REPEAT_S)):
        port.expect(PROBE)
    port.expect(b"?")  # then the other dialect is tried
    sender = NumberingSender(port, D, clock, MemoryTrace(clock))
    with pytest.raises(DialectError, match="nothing answers in dialect numbered-line") as caught:
        sender.resynchronise()
    assert caught.value.acts == (FindControllers(port.url),)
    assert clock.monotonic() < 12.0


def test_a_line_that_comes_damaged_is_sent_again_and_the_ok_behind_the_request_is_not_its_answer() -> None:
    r = rig()
    r.expect(2, b"G21", b"Error:checksum, Last Line: 1\nResend: 2\n", b"ok\n")
    r.expect(2, b"G21", b"ok\n", after_s=0.2)
    exchange = r.sender.ask(b"G21\n", timeout_s=1.0)
    assert exchange.certain
    assert exchange.answered_at_s - exchange.sent_at_s == pytest.approx(0.203)
    assert r.port.done


def test_a_request_without_an_ok_behind_it_is_served_as_well() -> None:
    r = rig()
    r.expect(2, b"G21", b"Error:checksum\nResend: 2\n")
    r.expect(2, b"G21", b"ok\n")
    assert r.sender.ask(b"G21\n", timeout_s=1.0).certain


@pytest.mark.parametrize("had", [b"Error:line out of order, Last Line: 2\nResend: 3\nok\n", b"skip 2\nok\n"])
def test_a_lost_answer_is_found_out_under_the_same_number(had: bytes) -> None:
    r = rig()
    r.expect(2, b"G1 A1 F60")
    r.expect(2, b"G1 A1 F60", had)
    exchange = r.sender.ask(b"G1 A1 F60\n", timeout_s=2.0)
    assert not exchange.certain  # it was received; that it has been carried out isn't known
    assert exchange.answered_at_s >= 0.5
    r.expect(3, b"G21", b"ok\n")
    r.sender.ask(b"G21\n", timeout_s=1.0)


def test_a_late_answer_is_not_taken_for_the_answer_to_the_next_line() -> None:
    r = rig()
    r.expect(2, b"G21", b"ok\n", after_s=0.6)  # it was sent again after 0.5 s
    r.expect(2, b"G21", b"skip 2\nok\n", after_s=0.15)
    r.sender.ask(b"G21\n", timeout_s=2.0)
    r.expect(3, b"M999", b'echo:Unknown command: "M999"\nok\n', after_s=0.3)
    with pytest.raises(LineRejectedError, match="refused 'M999': a word the controller does not know"):
        r.sender.ask(b"M999\n", timeout_s=2.0)


def test_an_answer_with_another_number_is_no_answer() -> None:
    r = rig()
    r.expect(2, b"G21", b"ok N1 P15 B3\n", b"ok N2 P15 B3\n")
    r.sender.ask(b"G21\n", timeout_s=1.0)
    assert list(r.sender.strays) == [b"ok N1 P15 B3"]
    assert r.sender.blocks_free == 15


def test_a_doubled_answer_is_told_and_ends_the_matching() -> None:
    r = rig()
    r.expect(2, b"G21", b"ok\nok\n")
    r.sender.ask(b"G21\n", timeout_s=1.0)
    with pytest.raises(UnexpectedReplyError, match="an answer came that no line waits for"):
        r.sender.ask(b"G90\n", timeout_s=1.0)
    assert len(r.port.written) == 1
    assert of_kind(r.trace, TraceKind.UNMATCHED) == (b"ok",)


@pytest.mark.parametrize("damaged", [b"okok\n", b"o\xeb\n", b"\xff\xff\xff\n"], ids=["merged", "bit", "noise"])
def test_a_damaged_answer_is_never_guessed_at_but_asked_for_again(damaged: bytes) -> None:
    r = rig()
    r.expect(2, b"G21", damaged)
    r.expect(2, b"G21", b"skip 2\nok\n")
    assert not r.sender.ask(b"G21\n", timeout_s=1.0).certain
    assert r.sender.strays[0] == damaged.strip()


def test_signs_of_life_put_the_deadline_off_but_not_for_ever() -> None:
    r = rig()
    r.expect(2, b"M400")
    for second in range(1, 10):
        r.port.say(b"echo:busy: processing\n", after_s=float(second))
    r.port.say(b"ok\n", after_s=9.5)
    r.sender.ask(b"M400\n", timeout_s=2.0, repeat_s=3.0)
    r.expect(3, b"M400")
    for second in range(1, 40):
        r.port.say(b"echo:busy: processing\n", after_s=float(second))
    started_s = r.clock.monotonic()
    with pytest.raises(ReplyTimeoutError, match="no answer to 'M400' within 10 s"):
        r.sender.ask(b"M400\n", timeout_s=2.0, latest_s=started_s + 10.0, repeat_s=3.0)
    assert r.clock.monotonic() == pytest.approx(started_s + 10.0)


def test_wait_lines_put_no_deadline_off() -> None:
    r = rig()
    for _ in range(2):
        r.expect(2, b"G21")
    for tenth in range(1, 30):
        r.port.say(b"wait\n", after_s=tenth / 10)
    with pytest.raises(ReplyTimeoutError, match="no answer to 'G21' within 1 s; whether it was carried out is unknown"):
        r.sender.ask(b"G21\n", timeout_s=1.0)


def test_a_report_behind_its_ok_is_waited_for() -> None:
    r = rig()
    r.expect(2, b"M114", b"ok\n", after_s=0.01)
    r.port.say(REPORT, after_s=0.1)
    assert r.sender.request_status(1.0).counts == {"X": 0, "A": 100}


def test_a_report_that_never_comes_is_asked_for_again_under_the_next_number() -> None:
    r = rig()
    r.expect(2, b"M114", b"ok\n")
    r.expect(3, b"M114", REPORT + b"ok\n")
    assert isinstance(r.sender.request_status(2.0), StatusReport)
    r.expect(4, b"M114", b"ok\n")
    r.expect(5, b"M114", b"ok\n")
    with pytest.raises(ReplyTimeoutError, match="the state of the axis is unknown"):
        r.sender.request_status(0.9)


def test_a_count_that_began_anew_is_a_reset_once_it_is_told_twice() -> None:
    r = rig()
    r.expect(2, b"G21", b"ok\n")
    r.sender.ask(b"G21\n", timeout_s=1.0)
    for _ in range(2):
        r.expect(3, b"G90", WANTS_1)
    with pytest.raises(ControllerResetError, match="it wants line 1 where line 3 is next: it was reset"):
        r.sender.ask(b"G90\n", timeout_s=2.0)
    assert isinstance(r.sender.position_lost, ControllerResetError)


def test_a_damaged_request_for_another_line_is_no_reset() -> None:
    r = rig()
    r.expect(2, b"G21", b"Error:checksum\nResend: 27\nok\n")
    r.expect(2, b"G21", b"ok\n")
    assert r.sender.ask(b"G21\n", timeout_s=1.0).certain


def test_a_request_that_nobody_caused_is_harmless_if_the_count_agrees() -> None:
    r = rig()
    r.port.say(b"Error:line not finished, Last Line: 1\nResend: 2\nok\n")
    r.sender.listen(0.1)
    r.port.say(b"Error:line not finished, Last Line: 0\nResend: 1\nok\n")
    with pytest.raises(UnexpectedReplyError, match="it asks for line 1 where line 2 is next"):
        r.sender.listen(0.1)


def test_a_greeting_is_a_reset_and_the_count_is_not_known_after_it() -> None:
    r = rig()
    r.expect(2, b"G21", b"start\necho:board\n")
    with pytest.raises(ControllerResetError, match="its position is lost"):
        r.sender.ask(b"G21\n", timeout_s=1.0)
    with pytest.raises(UnexpectedReplyError, match="its line count is not known"):
        r.sender.ask(b"G21\n", timeout_s=1.0)


def test_a_halt_is_a_fault() -> None:
    r = rig()
    r.expect(2, b"G1 A5 F60", b"Error:Printer halted\n")
    with pytest.raises(ControllerFaultError, match="alarm: halted"):
        r.sender.ask(b"G1 A5 F60\n", timeout_s=1.0)


def test_in_step_again_the_count_continues_and_an_untaken_line_is_not_sent_again() -> None:
    """The move never reached the board: what is asked next gets its number, and the move is gone."""
    r = rig()
    for _ in range(2):
        r.expect(2, b"G1 A5 F60")
    with pytest.raises(ReplyTimeoutError, match="whether it was carried out is unknown"):
        r.sender.ask(b"G1 A5 F60\n", timeout_s=1.0)
    r.expect(3, b"M115", b"Error:line out of order, Last Line: 1\nResend: 2\nok\n")
    r.expect(2, b"M115", b"FIRMWARE_NAME:board\nok\n")
    r.sender.resynchronise()
    r.expect(3, b"G21", b"ok\n")
    r.sender.ask(b"G21\n", timeout_s=1.0)
    assert sum(b"G1 A5" in line for line in r.port.written) == 2


def test_a_stop_goes_out_in_one_piece_whatever_is_unanswered() -> None:
    r = rig()

    real = r.port.read

    def interrupt(timeout_s: float) -> bytes:
        if r.port.written:
            raise KeyboardInterrupt("Ctrl-C")
        return real(timeout_s)

    r.expect(2, b"M400")
    r.port.read = interrupt  # type: ignore[method-assign]
    with pytest.raises(KeyboardInterrupt, match="Ctrl-C"):
        r.sender.ask(b"M400\n", timeout_s=0.5)
    r.port.read = real  # type: ignore[method-assign]
    r.port.expect(D.count_from(0) + D.numbered(1, b"M410\n"))
    r.sender.break_off(D.stop_line())
    with pytest.raises(UnexpectedReplyError, match="it was broken off by a stop"):
        r.sender.ask(b"G21\n", timeout_s=0.5)


def test_a_line_too_long_is_refused_before_anything_of_it_is_sent() -> None:
    r = rig()
    with pytest.raises(LineRejectedError, match="73 bytes long, limit 72; nothing was sent"):
        r.sender.ask(b"G1" + b"0" * 70 + b"\n", timeout_s=1.0)
    assert r.port.written == []


def test_a_controller_that_does_not_stop_talking_is_not_listened_to_for_ever() -> None:
    r = rig()
    r.port.write = lambda data: None  # type: ignore[method-assign]
    for number in range(2000):
        r.port.say(b"echo:hello\n", after_s=number * 0.05)
    started_s = r.clock.monotonic()
    with pytest.raises(ReplyTimeoutError, match="no answer to 'M115'"):
        r.sender.resynchronise()
    assert r.clock.monotonic() - started_s < 40.0


def test_a_flood_is_not_listened_to_for_ever() -> None:
    r = rig()

    def flood(timeout_s: float) -> bytes:
        r.clock.sleep(0.001)
        return b"echo:hello\n"

    r.port.read = flood  # type: ignore[method-assign]
    started_s = r.clock.monotonic()
    with pytest.raises(UnexpectedReplyError, match="kept sending without a pause"):
        r.sender.listen(0.1)
    assert r.clock.monotonic() - started_s < 6.0


def test_more_lines_than_any_answer_has_are_not_kept() -> None:
    r = rig()
    r.expect(2, b"M503")
    for number in range(3000):
        r.port.say(b"echo: M92 A100.00\n", after_s=0.001 * number)
    with pytest.raises(UnexpectedReplyError, match="more than 2000 lines came before an answer"):
        r.sender.ask(b"M503\n", timeout_s=2.0)


def test_what_it_is_must_be_said() -> None:
    r = rig()
    for number in (2, 3, 4):
        r.expect(number, b"M115", b"ok\n")
    with pytest.raises(ReplyTimeoutError, match="it did not answer when asked what it is"):
        r.sender.resynchronise()
    r.expect(5, b"M115", b"ok\n", b"FIRMWARE_NAME:board\n")
    r.sender.resynchronise()
    assert isinstance(D.parse(b"FIRMWARE_NAME:board"), Identity)
