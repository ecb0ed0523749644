"""The job's gate at a hand: a pass where the part stands, as in a run, and each of the gate's lines looked at alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from firmware_host.clock import Clock
from firmware_host.controller.controller import Controller
from firmware_host.errors import GateError
from firmware_host.station.gates.gate import Gate, GateLine, PassRequest, PassState
from firmware_host.station.passes.watched import opened, until_done
from firmware_host.station.stop_request import StopRequest

_LOOK_S = 0.002
"""How long is listened between two looks where the time of the answer counts (s)."""


@dataclass(frozen=True)
class MarkingSide:
    """What the gate of a hand needs that is meant to be opened: the program of a gate that starts one, and a folder.

    `folder`: where a gate that listens says at which port; None: nowhere.
    """

    program: tuple[str, ...] = ()
    folder: Path | None = None


class Marking:
    """The gate of a hand's job. It is opened only where the part was just proved to stand still, and has settled.

    `stand` proves that; `settle_s` (s) goes by after it. While it is open nothing moves, and every look sees that.
    """

    def __init__(
        self, gate: Gate, controller: Controller, clock: Clock, stop: StopRequest, stand: Callable[[], float]
    ) -> None:
        self._gate, self._controller, self._clock = gate, controller, clock
        self._stop, self._stand = stop, stand
        self.is_open = False
        """Whether somebody looks at it while it is open."""
        self.seen_to = 0.0
        """How closely the time of the newest answer is known (s, a limit): half of what lies between two looks."""

    def level(self, line: GateLine) -> bool:
        """Whether a line that comes from the marking side is on. Raises `GateError`."""
        return self._gate.level(line)

    def close(self) -> None:
        """Close it; raises `GateError` where that can't be done."""
        with self._controller.carrying_through():
            self._gate.close()

    @contextmanager
    def open(self, request: PassRequest) -> Iterator[None]:
        """The gate is open inside, where somebody looks at what it switches; the axis has to be watched meanwhile."""
        self._wait(self._stand())
        self.is_open = True
        try:
            with opened(self._gate, self._controller, request, lambda error: None):
                yield
        finally:
            self.is_open = False

    def passed(self, request: PassRequest) -> float:
        """A pass: the time from the opening to the marking side's answer (s). Raises `GateError`, `StopAskedError`."""
        self._wait(self._stand())
        opened_s = self._clock.monotonic()
        asked_s = [opened_s]

        def poll() -> PassState:
            state = self._gate.poll()
            asked_s.append(self._clock.monotonic())
            return state

        with opened(self._gate, self._controller, request, lambda error: None):
            until_done(poll, self._controller, self._look, _LOOK_S)
        before_s, after_s = asked_s[-2:]
        self.seen_to = (after_s - before_s) / 2
        return (after_s + before_s) / 2 - opened_s

    def tried(self, request: PassRequest) -> float | str:
        """As `passed`, and what went wrong in words where the marking side does not answer; it is closed then."""
        try:
            return self.passed(request)
        except GateError as error:
            self.close()
            return error.detail

    def _look(self, state: PassState) -> bool:
        if state is PassState.STOP:
            self._stop.ask("by the marking side")
        self._stop.check()
        return False

    def _wait(self, until_s: float) -> None:
        while (left_s := until_s - self._clock.monotonic()) > 0:
            self._stop.check()
            self._controller.hear(min(left_s, 0.05))
        self._controller.watch()
