"""A process that gets no time for a while, on a busy computer or after a pause, takes no answer for a missing one."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.controller.reply import Accepted, AxisState
from firmware_host.controller.sender import FLOOD_S, GRACE_S, LOOK_S
from firmware_host.errors import ReplyTimeoutError
from tests.controller.numbered_line import test_sender as numbered
from tests.controller.scripted import IDLE, rig
from tests.support.scripted_port import ScriptedPort

AWAY_S = 4.0
"""Longer than any deadline here."""
SETTINGS = b"".join(b"$%d=1\r\n" % key for key in range(40))


def away(port: ScriptedPort, where: str, away_s: float = AWAY_S) -> None:
    """From now on, the next call of the port's method `where` begins so much later; the line is without a pause."""
    method: Callable[[object], object] = getattr(port, where)

    def late(what: object) -> object:
        setattr(port, where, method)
        port.clock.sleep(away_s)
        return method(what)

    setattr(port, where, late)


@pytest.mark.parametrize("where", ["write", "read"])
def test_a_state_that_was_asked_for_before_or_after_the_pause_is_known(where: str) -> None:
    r = rig()
    r.port.expect(b"?", IDLE)
    away(r.port, where)
    assert r.sender.request_status(1.0).state is AxisState.READY


@pytest.mark.parametrize("where", ["write", "read"])
def test_the_answer_to_a_line_is_found_after_the_pause(where: str) -> None:
    r = rig()
    r.port.expect(b"G21\n", b"ok\r\n")
    away(r.port, where)
    assert isinstance(r.sender.ask(b"G21\n", timeout_s=2.0).answer, Accepted)
    assert not r.sender.out_of_step


def test_a_board_that_pauses_together_with_the_program_answers_as_soon_as_both_go_on() -> None:
    r = rig()
    r.port.expect(b"G21\n", b"ok\r\n", after_s=AWAY_S + 0.06)
    r.port.read = paused(r.port.read, r.clock)  # type: ignore[method-assign]
    assert isinstance(r.sender.ask(b"G21\n", timeout_s=2.0).answer, Accepted)


def test_at_a_quickened_clock_both_get_as_much_of_the_machines_own_time(monkeypatch: pytest.MonkeyPatch) -> None:
    r = rig()
    monkeypatch.setattr(r.clock, "own_seconds", lambda real_s: 5 * real_s)
    r.port.expect(b"G21\n", b"ok\r\n", after_s=AWAY_S + 4 * GRACE_S)
    r.port.read = paused(r.port.read, r.clock)  # type: ignore[method-assign]
    assert isinstance(r.sender.ask(b"G21\n", timeout_s=2.0).answer, Accepted)


def paused(read: Callable[[float], bytes], clock: VirtualClock) -> Callable[[float], bytes]:
    """The first wait takes so much longer, and nothing comes meanwhile."""
    waits = iter([AWAY_S])

    def late(timeout_s: float) -> bytes:
        clock.sleep(next(waits, 0.0))
        return read(timeout_s)

    return late


def test_many_lines_that_came_during_a_long_pause_are_no_flood() -> None:
    r = rig()
    r.port.expect(b"$$\n", SETTINGS, b"ok\r\n")
    away(r.port, "read", 2 * FLOOD_S)
    assert len(r.sender.ask(b"$$\n", timeout_s=2.0).payload) == 40


@pytest.mark.parametrize("where", ["write", "read"])
def test_a_board_that_says_nothing_is_given_up_soon_after_the_pause(where: str) -> None:
    r = rig()
    r.port.expect(b"G21\n")
    away(r.port, where)
    with pytest.raises(ReplyTimeoutError, match="no answer to 'G21' within 2 s"):
        r.sender.ask(b"G21\n", timeout_s=2.0)
    assert r.clock.monotonic() <= AWAY_S + LOOK_S + GRACE_S + 1e-9


@pytest.mark.parametrize("where", ["write", "read"])
def test_a_numbered_line_is_answered_after_the_pause(where: str) -> None:
    r = numbered.rig()
    r.expect(2, b"G21", b"ok\n")
    away(r.port, where)
    assert isinstance(r.sender.ask(b"G21\n", timeout_s=2.0, latest_s=r.clock.monotonic() + 2.0).answer, Accepted)


@pytest.mark.parametrize("where", ["write", "read"])
def test_a_place_that_was_asked_for_by_a_numbered_line_is_known_after_the_pause(where: str) -> None:
    r = numbered.rig()
    r.expect(2, b"M114", numbered.REPORT + b"ok\n")
    away(r.port, where)
    assert r.sender.request_status(1.0).counts == {"X": 0, "A": 100}
    assert not r.sender.out_of_step
