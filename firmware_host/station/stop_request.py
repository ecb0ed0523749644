"""A wish to stop, from any thread or a signal, that everything that waits looks at."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from firmware_host.acts import Act
from firmware_host.errors import RunStoppedError, StoppedError
from firmware_host.system.signals import asked_to_end

NOTHING_MOVED = "nothing was moved"


class StopAskedError(Exception):
    """Raised where the wish is found, in the thread that works; told as a `StoppedError` to whoever called."""


class StopRequest:
    """Asked for by any thread or signal; the first wish counts, later ones change nothing.

    Asking interrupts nobody: whatever waits or computes long calls `check` every 50 ms, and ends there. Below the
    station it is handed down as a plain function.
    """

    def __init__(self) -> None:
        self._asked: deque[str] = deque()  # appended to without a lock: a signal may come while one is taken
        self.looks = 0
        """How often was looked for a wish: while it grows, the run works or waits, and does not hang."""

    @property
    def reason(self) -> str | None:
        """Why it is to stop; None as long as it isn't."""
        return self._asked[0] if self._asked else None

    def ask(self, reason: str) -> None:
        """Wish that the run stops; returns at once."""
        if not self._asked:
            self._asked.append(reason)

    def check(self) -> None:
        """Raise `StopAskedError` if a stop was asked for."""
        self.looks += 1
        if self._asked:
            raise StopAskedError(self._asked[0])

    @contextmanager
    def on_signals(self) -> Iterator[None]:
        """While inside, Ctrl-C and whatever else asks the program to end ask for a stop, however often they come.

        Where whoever started the process lets it ignore a closed terminal, it still ignores it.
        """
        with asked_to_end(self.ask):
            yield


@contextmanager
def stopped_while(doing: str, *acts: Act, left: Callable[[], str] = lambda: NOTHING_MOVED) -> Iterator[None]:
    """A wish to stop that is found inside becomes a `StoppedError`: what was being `doing`, and what can be done.

    `left` says how things stand then.
    """
    try:
        yield
    except StopAskedError as error:
        raise StoppedError(str(error), doing, left(), acts=acts) from error


@contextmanager
def stopped_run(folder: str) -> Iterator[None]:
    """A wish to stop that is found inside becomes a `RunStoppedError` of the run in `folder`, with the notes on it."""
    try:
        yield
    except StopAskedError as error:
        stopped = RunStoppedError(str(error), folder)
        for note in getattr(error, "__notes__", ()):
            stopped.add_note(note)
        raise stopped from error
