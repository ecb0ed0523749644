"""The wish to stop: the first counts, signals ask for it, and nobody is interrupted by it."""

import os
import signal
import threading
from collections.abc import Iterator

import pytest

from firmware_host.errors import EXIT_STOPPED, RunStoppedError, StoppedError
from firmware_host.station.stop_request import StopAskedError, StopRequest, stopped_run, stopped_while
from tests.support import ending_signals


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


@pytest.mark.parametrize(("number", "reason"), ending_signals.ALL)
def test_a_signal_asks_for_a_stop_and_does_nothing_else_however_often(number: signal.Signals, reason: str) -> None:
    stop = StopRequest()
    with stop.on_signals():
        for _ in range(3):
            os.kill(os.getpid(), number)
        assert stop.reason == reason


def test_the_handlers_from_before_are_back_afterwards() -> None:
    numbers = ending_signals.heeded()
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


@ending_signals.HANGUP
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


def test_asking_interrupts_nobody_neither_from_another_thread_nor_from_a_signal() -> None:
    """What was raised inside whoever waited left the run behind, still going."""
    stop = StopRequest()
    reached: list[str] = []
    with stop.on_signals():
        thread = threading.Thread(target=lambda: (stop.ask("by the page"), reached.append("behind the wish")))
        thread.start()
        thread.join()
        os.kill(os.getpid(), signal.SIGINT)
        reached.append("behind the signal")
    assert reached == ["behind the wish", "behind the signal"]
    assert stop.reason == "by the page"


def test_a_wish_that_is_found_is_told_with_what_was_being_done() -> None:
    stop = StopRequest()
    stop.ask("Ctrl-C")
    words = r"^stopped \(Ctrl-C\) while opening the controller; nothing was moved$"
    with pytest.raises(StoppedError, match=words) as told, stopped_while("opening the controller"):
        stop.check()
    assert told.value.exit_status == EXIT_STOPPED
    with pytest.raises(RunStoppedError, match="the run in runs/a can be resumed"), stopped_run("runs/a"):
        stop.check()
