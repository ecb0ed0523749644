"""A controller that is only asked: opened whatever its settings are, nothing turns, and nothing is written."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from firmware_host.clock import Clock, SystemClock
from firmware_host.controller.controller import Controller
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.model import Setup
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.by_hand import HandPlan
from firmware_host.station.hand.opened import HandOptions, plan_of_hand
from firmware_host.station.opening import open_controller, port_of
from firmware_host.station.settings.check import STATED
from firmware_host.station.settings.compared import compare_settings
from firmware_host.station.settings.known_scale import KnownScales, state_folder
from firmware_host.station.stop_request import StopRequest, stopped_while


@dataclass(frozen=True)
class Fit:
    """How the settings fit the machine and the job: what is wrong, each in words, and whether it can all be written.

    `refusal`: why moves would be refused whatever the settings are; "" where they would not.
    """

    wrong: tuple[str, ...]
    writable: bool
    refusal: str


class ControllerLine:
    """The open controller of a machine or a job, and the plan that its settings are compared with."""

    def __init__(
        self, controller: Controller, plan: HandPlan, clock: Clock, scales: KnownScales, stop: StopRequest
    ) -> None:
        self._controller, self._clock, self._scales, self._stop = controller, clock, scales, stop
        self.plan = plan
        """What a hand on it would turn by."""
        self._times_s: list[float] = []

    @property
    def url(self) -> str:
        """How its port was named."""
        return self._controller.url

    @property
    def now_s(self) -> float:
        """Its own time, from any beginning (s)."""
        return self._clock.monotonic()

    def wait(self, duration_s: float) -> None:
        """Let `duration_s` (s) pass, and hear what the controller says meanwhile."""
        self._stop.check()
        self._controller.hear(duration_s)

    def described(self) -> str:
        """What it says it is, in words."""
        controller = self._controller
        return f"{controller.dialect.name} at {self.url}, axis {controller.axis}"

    def fit(self) -> Fit:
        """Compare its settings with what the plan needs; moves and changes nothing."""
        plan = self.plan
        compared = compare_settings(plan.machine, plan.plan, self._controller, self._scales)
        needed = compared.needed
        writable = bool(needed) and not any(each.key.startswith(STATED) for each in needed)
        return Fit(tuple(map(str, needed)), writable, compared.refusal)

    def release_delay_ms(self) -> int | None:
        """How long after a move the motor is released by its settings; None: never."""
        return self._controller.settings.release_delay_ms

    def ask(self, questions: int) -> float:
        """Ask for the state so many times (> 0), one after the other; the median of the times to the answers (s)."""
        self._times_s = []
        for _ in range(questions):
            self._stop.check()
            asked_s = self._clock.monotonic()
            self._controller.status()
            self._times_s.append(self._clock.monotonic() - asked_s)
        return self._share(0.5)

    def late(self, questions: int) -> float:
        """The time (s) within which 99 of 100 of the newest answers came; asks anew where none was asked yet."""
        if not self._times_s:
            self.ask(questions)
        return self._share(0.99)

    def _share(self, share: float) -> float:
        """The time (s) that this share of the answers kept, the next slower one where it falls between two."""
        times = sorted(self._times_s)
        return times[min(int(share * len(times)), len(times) - 1)]


@contextmanager
def open_line(
    described: Setup | Machine, port: str = "", options: HandOptions | None = None
) -> Iterator[ControllerLine]:
    """Open the controller of a job or a machine at `port` (empty: the machine's own) only to ask it.

    Raises as `open_controller`, and `LimitExceededError` where no motion is safe that settings could be compared with.
    """
    wished: HandOptions = options or {}
    stop, clock = wished.get("stop") or StopRequest(), wished.get("clock") or SystemClock()
    machine = described.machine if isinstance(described, Setup) else described
    with stopped_while("asking the controller"):
        plan = plan_of_hand(described, wished, stop)
        url, trace = port_of(machine, port), MemoryTrace(clock)
        with open_controller(machine, url, clock, trace, baud=wished.get("baud"), check=stop.check) as controller:
            yield ControllerLine(controller, plan, clock, wished.get("scales") or KnownScales(state_folder()), stop)
