"""Signals by which a program is asked to end: what each is called, and who hears of it."""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from types import FrameType

_WORDS = {
    "SIGINT": "Ctrl-C",
    "SIGTERM": "terminated",
    "SIGHUP": "terminal closed",
    "SIGBREAK": "Ctrl-Break, or the window was closed",
}
_TERMINAL = "SIGHUP"

ENDING: Mapping[int, str] = {
    int(getattr(signal, name)): words for name, words in _WORDS.items() if hasattr(signal, name)
}
"""The signals of this system that ask for an end, each in words."""


@contextmanager
def asked_to_end(heed: Callable[[str], None]) -> Iterator[None]:
    """While inside, whoever asks this program to end is heard by `heed`, in words, and nothing else happens.

    A terminal that closes is not heard where whoever started this program had it ignored, so that it outlives the
    terminal. What was there before is there again afterwards. Only for the main thread (`ValueError`).
    """

    def heard(number: int, frame: FrameType | None) -> None:
        heed(ENDING[number])

    heeded = [number for number in ENDING if not _outlives_terminal(number)]
    before = {number: signal.signal(number, heard) for number in heeded}
    try:
        yield
    finally:
        for number, old in before.items():
            signal.signal(number, signal.SIG_DFL if old is None else old)


def interrupt_when_asked() -> None:
    """From now on each of them interrupts the program as Ctrl-C does, so that it tidies up before it ends.

    One that whoever started this program has set to something else (ignored, say) is left as it is.
    """
    for number in ENDING:
        if signal.getsignal(number) is signal.SIG_DFL:
            signal.signal(number, _interrupt)


def _interrupt(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def _outlives_terminal(number: int) -> bool:
    return signal.Signals(number).name == _TERMINAL and signal.getsignal(number) is signal.SIG_IGN
