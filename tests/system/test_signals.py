"""Whoever asks the program to end is heard, in words; on either system."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from typing import Any

import pytest

from tests.support.windows import BREAK_HERE
from tests.system.conftest import Topic

NUMBERS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, BREAK_HERE)


@pytest.fixture(autouse=True)
def handlers() -> Iterator[None]:
    before = {number: signal.getsignal(number) for number in NUMBERS}
    for number in NUMBERS:
        signal.signal(number, signal.SIG_DFL)
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


def asking(signals: Any) -> dict[str, int]:
    """What each is called, and the number that it has on this system."""
    return {words: {21: BREAK_HERE}.get(number, number) for number, words in signals.ENDING.items()}


def test_each_system_has_its_own_way_to_close_a_window(system: Topic) -> None:
    words = set(asking(system("signals")))
    assert {"Ctrl-C", "terminated"} < words
    assert len(words & {"terminal closed", "Ctrl-Break, or the window was closed"}) == 1


def test_whoever_asks_is_heard_in_words_and_the_program_goes_on(system: Topic) -> None:
    signals, heard = system("signals"), []
    with signals.asked_to_end(heard.append):
        for number in asking(signals).values():
            signal.raise_signal(number)
    assert heard == list(asking(signals))
    assert {signal.getsignal(number) for number in NUMBERS} == {signal.SIG_DFL}


def test_otherwise_each_interrupts_the_program_unless_it_is_ignored(system: Topic) -> None:
    signals = system("signals")
    *others, last = asking(signals).values()
    signal.signal(last, signal.SIG_IGN)
    signals.interrupt_when_asked()
    for number in others:
        with pytest.raises(KeyboardInterrupt, match=r"^$"):
            signal.raise_signal(number)
    assert signal.getsignal(last) is signal.SIG_IGN
