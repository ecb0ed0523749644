"""What boards do differently: errors that stay until an empty line, greetings late or missing, lines unheard."""

from __future__ import annotations

import pytest

from firmware_host.controller.reply import Accepted, Greeting
from firmware_host.errors import ControllerFaultError, LineRejectedError
from tests.controller.scripted import IDLE, Rig, rig

NEWER = b"\r\nN 9.9 ['$' or '$HELP' for help]\r\n"
OLDER = b"\r\nN 9.9 ['$' for help]\r\n"
UNLOCK = b"[MSG:'$H'|'$X' to unlock]\r\n"


def test_an_error_that_stays_until_an_empty_line_is_ended_and_not_taken_for_the_next_lines_own() -> None:
    r = rig()
    r.port.expect(b"G1 A1 F1\n", b"error:11\r\n")
    with pytest.raises(LineRejectedError, match="too long") as caught:
        r.sender.ask(b"G1 A1 F1\n", timeout_s=0.5)
    assert caught.value.code == 11
    r.port.expect(b"$G\n", b"ok\r\n")  # such lines are heard all the same
    r.sender.ask(b"$G\n", timeout_s=0.5)
    r.port.expect(b"\n", b"ok\r\n")
    r.port.expect(b"M9\n", b"ok\r\n")
    assert r.sender.ask(b"M9\n", timeout_s=0.5).answer == Accepted()
    r.port.expect(b"M8\n", b"ok\r\n")  # once is enough
    r.sender.ask(b"M8\n", timeout_s=0.5)
    assert r.port.done


def test_lines_on_their_way_behind_a_refused_one_are_not_told_as_refused_themselves() -> None:
    r = rig()
    r.port.expect(b"G1 Q7\n")
    r.port.expect(b"G21\n", b"error:36\r\nerror:36\r\n")
    with pytest.raises(LineRejectedError, match="nothing uses") as caught:
        r.sender.stream((b"G1 Q7\n", b"G21\n"), timeout_s=0.5)
    assert caught.value.line == "G1 Q7"


def test_an_error_that_nobody_knows_is_told_by_its_number() -> None:
    r = rig()
    r.port.expect(b"G21\n", b"error:77\r\n")
    with pytest.raises(LineRejectedError, match="error 77, of unknown meaning"):
        r.sender.ask(b"G21\n", timeout_s=0.5)


def reset(r: Rig) -> tuple[Greeting | None, float]:
    """The greeting, and how long it took (s)."""
    began_s = r.clock.monotonic()
    greeting = r.sender.reset(3.0)
    return greeting, r.clock.monotonic() - began_s


@pytest.mark.parametrize("words", [pytest.param(OLDER, id="older"), pytest.param(NEWER, id="newer"),
                                   pytest.param(b"\r\nN ['$' for help] and more\r\n", id="more-behind")])  # fmt: skip
@pytest.mark.parametrize("after_s", [0.008, 0.255])
def test_a_reset_is_known_as_soon_as_it_is_greeted(words: bytes, after_s: float) -> None:
    r = rig()
    r.port.expect(b"\x18", words, after_s=after_s)
    greeting, took_s = reset(r)
    assert greeting is not None
    assert took_s == pytest.approx(after_s)
    assert r.sender.reset_took_s == pytest.approx(after_s)


def test_a_reset_in_motion_is_waited_for_through_its_alarm_and_the_report_asked_for_meanwhile() -> None:
    r = rig()
    r.port.expect(b"\x18", b"ALARM:3\r\n", after_s=0.255)
    r.port.say(OLDER + UNLOCK, after_s=0.755)
    r.port.expect(b"?", IDLE, after_s=0.36)  # answered behind the greeting
    greeting, took_s = reset(r)
    assert greeting is not None
    assert took_s == pytest.approx(0.755)
    assert isinstance(r.sender.position_lost, ControllerFaultError)
    r.port.expect(b"?", IDLE)
    r.sender.request_status(1.0)
    assert r.port.done


def test_a_board_that_answers_without_having_greeted_is_not_waited_for() -> None:
    r = rig()
    r.port.expect(b"\x18")
    r.port.expect(b"?", IDLE, after_s=0.004)
    greeting, took_s = reset(r)
    assert greeting is None
    assert took_s < 0.5


def test_a_board_that_is_still_starting_is_waited_for() -> None:
    r = rig()
    for _ in range(4):
        r.port.expect(b"?")  # nobody hears it
    r.port.say(OLDER, after_s=1.8)
    assert r.sender.await_greeting(3.0) is not None
    assert r.clock.monotonic() == pytest.approx(1.8)


def test_silence_is_waited_for_to_the_end() -> None:
    r = rig()
    for _ in range(8):
        r.port.expect(b"?")
    assert r.sender.await_greeting(3.0) is None
    assert 3.0 <= r.clock.monotonic() < 3.5


def test_an_alarm_after_which_only_a_reset_is_heard_is_known_until_the_reset() -> None:
    r = rig()
    r.port.expect(b"G53 G1 A9999 F600\n", b"ALARM:2\r\n")
    with pytest.raises(ControllerFaultError, match="beyond the soft limits"):
        r.sender.ask(b"G53 G1 A9999 F600\n", timeout_s=0.5)
    assert r.sender.reset_awaited
    r.port.expect(b"\x18", b"ok\r\n" + OLDER + UNLOCK, after_s=0.06)
    assert reset(r)[0] is not None
    assert not r.sender.reset_awaited
