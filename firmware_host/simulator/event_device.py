"""The event loop of a simulated board: motion, one task at a time, and whatever else has its own instants."""

from __future__ import annotations

import math
from abc import abstractmethod
from collections.abc import Iterable, Iterator, Sequence

from firmware_host.simulator.board_core import BoardCore, Wait
from firmware_host.simulator.device import Follower, MotionInterval, SimulatedDevice


class EventDevice(SimulatedDevice):
    """A device made of a board and a task: a chain of waits that carries one line out."""

    def __init__(self, core: BoardCore, axes: str) -> None:
        self._core = core
        self._axes = axes
        self._task: Iterator[Wait] | None = None
        self._wait: Wait = core.now_s
        self._follower: Follower | None = None

    # --- what a language adds -------------------------------------------------------------------------------

    @abstractmethod
    def _begin_task(self) -> bool:
        """Begin the task of the next line, if one has come; False if there is none."""

    @abstractmethod
    def _came_to_standstill(self) -> None:
        """Told when motion has ended."""

    @abstractmethod
    def _crash(self) -> None:
        """Told when a motor was asked for more steps per second than the board can make."""

    def _own_changes(self) -> Iterable[float | None]:
        """Instants (s) at which the device does something besides motion and task; None = none."""
        return ()

    def _live(self) -> None:
        """Do what is due by itself at the board's `now_s`."""
        return

    def _later_changes(self) -> Iterable[float]:
        """Instants (s) at which only what is seen from outside changes, while the motors stand."""
        return (self._core.released_after_s,)

    # --- the device -----------------------------------------------------------------------------------------

    def transmit(self, now_s: float) -> bytes:
        self._advance(now_s)
        return self._core.said()

    def make_moves_last(self, times: float) -> None:
        self._core.kernel.last_times = times

    def next_event_s(self) -> float | None:
        core = self._core
        next_s, said_s = self._next_change_s(), core.next_said_s()
        if said_s is not None and (next_s is None or said_s < next_s):
            next_s = said_s
        if not core.kernel.moving():
            for instant in self._later_changes():
                if core.now_s < instant < math.inf and (next_s is None or instant < next_s):
                    next_s = instant
        return next_s

    def steps_at(self, axis: str, now_s: float) -> int:
        self._advance(now_s)
        return self._core.kernel.shafts_at(now_s)[self._axes.index(axis)]

    def moving_at(self, now_s: float) -> bool:
        self._advance(now_s)
        return self._core.kernel.moving()

    def released_at(self, now_s: float) -> bool:
        self._advance(now_s)
        return self._core.released()

    def followed_by(self, axis: str, follower: Follower) -> None:
        self._follower = follower
        self._core.kernel.followed = self._axes.index(axis)

    @property
    def motion_log(self) -> Sequence[MotionInterval]:
        return tuple(self._core.kernel.log)

    # --- time -----------------------------------------------------------------------------------------------

    def _next_change_s(self) -> float | None:
        next_s = self._core.kernel.next_event_s()
        if self._task is not None and not callable(self._wait) and (next_s is None or self._wait < next_s):
            next_s = self._wait
        for instant in self._own_changes():
            if instant is not None and (next_s is None or instant < next_s):
                next_s = instant
        return next_s

    def _advance(self, now_s: float) -> None:
        """Live through everything that happens up to `now_s`, in the order in which it happens."""
        core = self._core
        if now_s < core.now_s:
            raise ValueError(f"time runs backwards: {now_s!r} s after {core.now_s!r} s")
        while (instant := self._next_change_s()) is not None and instant <= now_s:
            core.now_s = max(core.now_s, instant)
            if core.kernel.crash_s is not None and core.kernel.crash_s <= core.now_s:
                self._crash()
            self._move_on()
            self._live()
            self._work()
        core.now_s = now_s
        self._hand_on()

    def _move_on(self) -> None:
        kernel = self._core.kernel
        was_moving = kernel.moving()
        kernel.advance(self._core.now_s)
        if was_moving and not kernel.moving():
            self._came_to_standstill()
        self._hand_on()

    def _hand_on(self) -> None:
        """Tell the follower of a motion that has ended, or was cut off."""
        kernel = self._core.kernel
        if kernel.stretches and not kernel.moving() and self._follower is not None:
            stretches, kernel.stretches = kernel.stretches, []
            self._follower.follow(stretches)

    def _work(self) -> None:
        """Let the main loop run as far as it gets at this instant: continue a line, or read the next one."""
        while True:
            if self._task is None:
                if not self._begin_task():
                    return
            elif not self._due():
                return
            if self._task is not None:
                self._step(self._task)

    def _step(self, task: Iterator[Wait]) -> None:
        wait = next(task, None)
        if wait is None:
            self._task = None
        else:
            self._wait = wait

    def _due(self) -> bool:
        return self._wait() if callable(self._wait) else self._core.now_s >= self._wait
