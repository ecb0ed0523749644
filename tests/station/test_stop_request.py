"""The wish to stop: the first counts, signals ask for it, and an act that can't look is broken off."""

import os
import signal
from collections.abc import Iterator

import pytest

from firmware_host.station.stop_request import StopAskedError, StopRequest


@pytest.fixture(autouse=True)
def _terminal() -> Iterator[None]:
    """Signals as they are for a program started from a terminal, however the tests were started."""
    before = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGHUP)}
    signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGHUP, signal.SIG_DFL)
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


def test_the_first_wish_counts() -> None:
    stop = StopRequest()
    stop.check()
    stop.ask("by the operator")
    stop.ask("Ctrl-C")
    with pytest.raises(StopAskedError, match=r"^by the operator$"):
        stop.check()


@pytest.mark.parametrize(
    ("number", "reason"),
    [(signal.SIGINT, "Ctrl-C"), (signal.SIGTERM, "terminated"), (signal.SIGHUP, "terminal closed")],
    ids=["int", "term", "hup"],
)
def test_a_signal_asks_for_a_stop_and_does_nothing_else_however_often(number: signal.Signals, reason: str) -> None:
    stop = StopRequest()
    with stop.on_signals():
        for _ in range(3):
            os.kill(os.getpid(), number)
        assert stop.reason == reason


def test_the_handlers_from_before_are_back_afterwards() -> None:
    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = [signal.getsignal(number) for number in numbers]
    during: list[object] = []

    def fail() -> None:
        with StopRequest().on_signals():
            during.extend(signal.getsignal(number) for number in numbers)
            raise ZeroDivisionError("inside")

    with pytest.raises(ZeroDivisionError, match="inside"):
        fail()
    assert not set(during) & set(before)
    assert [signal.getsignal(number) for number in numbers] == before


def test_a_process_that_is_to_outlive_its_terminal_does_but_is_stopped_by_the_others() -> None:
    before = {number: signal.getsignal(number) for number in (signal.SIGHUP, signal.SIGINT)}
    try:
        signal.signal(signal.SIGHUP, signal.SIG_IGN)
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # as a shell does for what it starts in the background
        stop = StopRequest()
        with stop.on_signals():
            os.kill(os.getpid(), signal.SIGHUP)
            assert stop.reason is None
            os.kill(os.getpid(), signal.SIGINT)
            assert stop.reason == "Ctrl-C"
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def test_a_signal_breaks_off_what_cannot_look_once() -> None:
    stop = StopRequest()
    reached: list[str] = []

    def act() -> None:
        with stop.at_once():
            os.kill(os.getpid(), signal.SIGINT)
            reached.append("behind the signal")

    with stop.on_signals():
        with pytest.raises(StopAskedError, match=r"^Ctrl-C$"):
            act()
        os.kill(os.getpid(), signal.SIGINT)  # outside, and the second: only noted
    assert reached == []


def test_a_wish_from_before_breaks_off_at_the_beginning() -> None:
    stop = StopRequest()
    stop.ask("by the operator")
    begun = []
    with pytest.raises(StopAskedError, match="by the operator"), stop.at_once():
        begun.append("act")
    assert begun == []


def test_a_second_wish_does_not_break_off_the_stopping_itself() -> None:
    stop = StopRequest()

    def act() -> None:
        with stop.at_once():
            try:
                stop.ask("Ctrl-C")
            finally:
                stop.ask("terminated")  # must not raise

    with pytest.raises(StopAskedError, match="Ctrl-C"):
        act()
    assert stop.reason == "Ctrl-C"
