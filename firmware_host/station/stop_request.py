"""A wish to stop, from the operator or a signal, that the run looks at wherever it waits."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


class StopAskedError(Exception):
    """Raised inside the run when it finds the wish; never leaves the run."""


class StopRequest:
    """Asked for once, by any thread; later wishes change nothing. Only the thread of the run is ever interrupted."""

    def __init__(self) -> None:
        self.reason: str | None = None
        self._at_once: int | None = None
        """The thread that is inside `at_once`."""

    def ask(self, reason: str) -> None:
        """Wish that the run stops. Raises `StopAskedError` in the thread that is inside `at_once`, the first time.

        From another thread it returns at once; the run finds the wish where it looks next.
        """
        if self.reason is None:
            self.reason = reason
            if self._at_once == threading.get_ident():
                raise StopAskedError(reason)

    def check(self) -> None:
        """Raise `StopAskedError` if the run is to stop."""
        if self.reason is not None:
            raise StopAskedError(self.reason)

    def check_at_once(self) -> None:
        """As `check`, but only inside `at_once`: for what waits there and can look now and then."""
        if self._at_once == threading.get_ident():
            self.check()

    @contextmanager
    def at_once(self) -> Iterator[None]:
        """While inside, a wish breaks off whatever waits: for acts that wait long (seeking a switch).

        A signal interrupts it there and then; a wish of another thread is found by `check_at_once`.
        """
        self._at_once = threading.get_ident()
        try:
            self.check()
            yield
        finally:
            self._at_once = None

    @contextmanager
    def on_signals(self) -> Iterator[None]:
        """While inside, Ctrl-C, SIGTERM and a closed terminal ask for a stop, however often they come.

        Where whoever started the process lets it ignore a closed terminal, it still ignores it.
        """

        def handler(number: int, frame: FrameType | None) -> None:
            names = {signal.SIGINT: "Ctrl-C", signal.SIGTERM: "terminated", signal.SIGHUP: "terminal closed"}
            self.ask(names[signal.Signals(number)])

        outlives_terminal = signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
        heeded = [signal.SIGINT, signal.SIGTERM, *([] if outlives_terminal else [signal.SIGHUP])]
        before = {number: signal.signal(number, handler) for number in heeded}
        try:
            yield
        finally:
            for number, old in before.items():
                signal.signal(number, old)
