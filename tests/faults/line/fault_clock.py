"""Virtual time whose calendar jumps; its monotonic side never does."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from firmware_host.clock import VirtualClock

_EARLIEST = datetime(1970, 1, 1, tzinfo=UTC)
_LATEST = datetime(9999, 1, 1, tzinfo=UTC)


class JumpingClock(VirtualClock):
    """A clock that somebody sets, or that a time server corrects."""

    def __init__(self, start_s: float = 0.0) -> None:
        super().__init__(start_s)
        self._ahead = timedelta()

    def now(self) -> datetime:
        told = super().now() + self._ahead
        return min(max(told, _EARLIEST), _LATEST)

    def jump(self, duration_s: float) -> None:
        """Let the calendar say `duration_s` (s) later (negative: earlier) from now on; between 1970 and 9999."""
        self._ahead += timedelta(seconds=duration_s)
