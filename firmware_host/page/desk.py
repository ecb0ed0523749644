"""What the run and the page's server share: what is known of the run, what is asked, and what was pressed.

The run's thread only leaves notes here and never waits; the server's threads read them. Whoever presses a button wishes
something, as with the keys; whether anything moves or a gate opens is decided by the run alone.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from firmware_host.clock import Clock
from firmware_host.page.surface import Passes, Surface
from firmware_host.planning.plan import JobPlan
from firmware_host.station.operator import Question
from firmware_host.station.passes.control import RunControl
from firmware_host.station.state.message import StateMessage

STALE_S = 0.6
"""A run that has not looked for a wish for so long (s) may hang: nothing that it told last is said any more."""
_MOST_TOLD = 6
_LONGEST_LINE = 100


@dataclass(frozen=True)
class Over:
    """How the run has ended: `outcome` is done, stopped or failed, `text` says it, `todo` what can be done next."""

    outcome: str
    text: str
    todo: tuple[str, ...] = ()


@dataclass(frozen=True)
class Asked:
    """A question that is open, by a `number` that no other question has."""

    number: int
    question: Question


class Desk:
    """Notes of one program that runs one job, or one batch. Every method may be called from any thread."""

    def __init__(self, control: RunControl, clock: Clock) -> None:
        self.control = control
        self.stage = ""
        """What the run has begun last, in words."""
        self.surface: Surface | None = None
        self.over: Over | None = None
        """How it has ended; nothing follows."""
        self._clock = clock
        self._newest: Callable[[], StateMessage] | None = None
        self._lock = threading.Lock()
        self._number = 0
        self._asked: Asked | None = None
        self._answers: deque[str] = deque()
        self._told: deque[str] = deque(maxlen=_MOST_TOLD)
        self._looks = control.stop.looks
        self._looked_s = clock.monotonic()

    # --- the run's side --------------------------------------------------------------------------------------------

    def attach(self, newest: Callable[[], StateMessage]) -> None:
        """Where the run's state can be asked for from now on."""
        self._newest = newest

    def begins(self, plan: JobPlan, passes: Mapping[int, Passes]) -> None:
        """The passes of a part begin."""
        state = self.newest()
        number = self.surface.number + 1 if self.surface is not None else 1
        self.surface = Surface(plan, passes, number, state.part if state is not None else None)

    def tell(self, line: str) -> None:
        """Something is said to the person at the machine."""
        self._told.append(line)

    def asks(self, question: Question | None) -> None:
        """From now on that is asked, and what was answered before is no answer to it; None: nothing is asked."""
        with self._lock:
            self._number += 1
            self._asked = Asked(self._number, question) if question is not None else None
            self._answers.clear()

    def forget(self) -> None:
        """Drop what was answered so far."""
        with self._lock:
            self._answers.clear()

    def take_answer(self) -> str | None:
        """An answer to what is asked, once; None if there is none."""
        with self._lock:
            return self._answers.popleft() if self._answers else None

    # --- the page's side -------------------------------------------------------------------------------------------

    @property
    def asked(self) -> Asked | None:
        """What is asked now."""
        return self._asked

    @property
    def answered(self) -> bool:
        """Whether that is answered, and the run has not heard it yet."""
        return bool(self._answers)

    @property
    def told(self) -> tuple[str, ...]:
        """What was said to the person at the machine last."""
        return tuple(self._told.copy())

    def newest(self) -> StateMessage | None:
        """What the run is at now; None while it is not open yet."""
        return self._newest() if self._newest is not None else None

    def listen(self) -> None:
        """Look whether the run still works; to be called many times a second, whether or not anybody watches."""
        looks = self.control.stop.looks
        if looks != self._looks:
            self._looks, self._looked_s = looks, self._clock.monotonic()

    @property
    def stale(self) -> bool:
        """Whether the run was not seen at work for too long to believe what it told last."""
        return self.over is None and self._clock.monotonic() - self._looked_s > STALE_S

    def answer(self, number: int, line: str) -> str:
        """Answer the question of that number. Returns why that is not taken; "" if it is."""
        with self._lock:
            asked = self._asked
            if asked is None or asked.number != number:
                return "that is not asked any more"
            if self._answers:
                return "it is answered already"
            chosen = line in (choice.line for choice in asked.question.choices)
            typed = bool(asked.question.entry) and 0 < len(line) <= _LONGEST_LINE and line.isprintable()
            if not (chosen or typed):
                return "that is no answer to it"
            self._answers.append(line)
            return ""
