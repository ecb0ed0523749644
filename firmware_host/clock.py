"""Real, scaled and virtual time: the only module that reads a clock or sleeps.

A clock is an argument wherever time matters, so a test of an hour's run takes a second.
All times are in seconds of the clock's own time; only `Clock.real_seconds` converts to the machine's time, and
`Clock.own_seconds` from it.

The machine's time is read by `time.perf_counter`: on Windows `time.monotonic` goes in steps of 15.6 ms before Python
3.13 (the Python documentation of `time`, and its issue 88494); elsewhere the two are one clock.
"""

from __future__ import annotations

import time
from abc import ABC, abstractmethod
from datetime import UTC, datetime, timedelta


class Clock(ABC):
    """A monotonic time in seconds, a calendar time, and a way to wait."""

    @abstractmethod
    def monotonic(self) -> float:
        """Seconds since an arbitrary start; never goes back."""

    @abstractmethod
    def now(self) -> datetime:
        """Calendar time in UTC, for records only; never used for deadlines."""

    @abstractmethod
    def sleep(self, duration_s: float) -> None:
        """Wait `duration_s` seconds (>= 0; a negative value waits not at all)."""

    @abstractmethod
    def real_seconds(self, duration_s: float) -> float:
        """How many seconds of the machine's own time `duration_s` of this clock takes (for select and the like)."""

    def own_seconds(self, real_s: float) -> float:
        """How many seconds of this clock may pass while a process waits `real_s` s for a processor."""
        return real_s


class SystemClock(Clock):
    """The machine's own time, by its finest clock: the one that Windows calls monotonic moves in steps of 16 ms."""

    def monotonic(self) -> float:
        return time.perf_counter()

    def now(self) -> datetime:
        return datetime.now(UTC)

    def sleep(self, duration_s: float) -> None:
        if duration_s > 0:
            time.sleep(duration_s)

    def real_seconds(self, duration_s: float) -> float:
        return duration_s


class ScaledClock(Clock):
    """The machine's time run `factor` times quicker (factor > 0): 50 means that 50 s pass in one."""

    def __init__(self, factor: float) -> None:
        if not factor > 0:
            raise ValueError(f"clock factor {factor!r} must be greater than 0")
        self.factor = factor
        self._start_s = time.perf_counter()
        self._start = datetime.now(UTC)

    def monotonic(self) -> float:
        return (time.perf_counter() - self._start_s) * self.factor

    def now(self) -> datetime:
        return self._start + timedelta(seconds=self.monotonic())

    def sleep(self, duration_s: float) -> None:
        if duration_s > 0:
            time.sleep(duration_s / self.factor)

    def real_seconds(self, duration_s: float) -> float:
        return duration_s / self.factor

    def own_seconds(self, real_s: float) -> float:
        return real_s * self.factor


class VirtualClock(Clock):
    """Time that passes only when somebody sleeps or calls `advance_to`."""

    def __init__(self, start_s: float = 0.0, start: datetime = datetime(2026, 1, 1, tzinfo=UTC)) -> None:
        self._now_s = start_s
        self._start_s = start_s
        self._start = start

    def monotonic(self) -> float:
        return self._now_s

    def now(self) -> datetime:
        return self._start + timedelta(seconds=self._now_s - self._start_s)

    def sleep(self, duration_s: float) -> None:
        if duration_s > 0:
            self._now_s += duration_s

    def real_seconds(self, duration_s: float) -> float:
        return 0.0

    def advance_to(self, instant_s: float) -> None:
        """Move on to `instant_s` (s); an instant already passed is ignored."""
        self._now_s = max(self._now_s, instant_s)
