"""What every simulated board has, whatever language it speaks: an instant, motors, and a line out."""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Sequence
from random import Random

from firmware_host.simulator.axis.motion import MotionKernel

Wait = float | Callable[[], bool]
"""What a board's task waits for: an instant in s, or a condition that some event will make true."""


class Lateness:
    """How late a board's main loop notices that motion has ended: evenly spread, anew for each standstill (seeded)."""

    def __init__(self, least_s: float, spread_s: float) -> None:
        self._least_s, self._spread_s = least_s, spread_s
        self._random = Random(1)
        self._ended_s = math.nan
        self._late_s = least_s

    def after(self, ended_s: float) -> float:
        """The instant (s) at which it notices that motion ended at `ended_s`; the same each time it is asked."""
        if ended_s != self._ended_s:
            self._ended_s = ended_s
            self._late_s = self._least_s + self._spread_s * (self._random.random() if self._spread_s else 0.0)
        return ended_s + self._late_s


class BoardCore:
    """`now_s` is the instant the board has been brought to; `released_after_s` the one from which its standing motors
    have no current.
    """

    def __init__(self, axes: str, start_s: float, bunches: Sequence[tuple[float, int]] = ()) -> None:
        self.now_s = start_s
        self.kernel = MotionKernel(axes, start_s, bunches)
        self.released_after_s = math.inf
        self._line_out: list[tuple[float, int, bytes]] = []
        self._said = 0

    def say(self, text: str, delay_s: float = 0.0) -> None:
        """Put a line (Latin-1: a board may repeat any byte) on the wire `delay_s` from now."""
        self._said += 1
        heapq.heappush(self._line_out, (self.now_s + delay_s, self._said, text.encode("latin-1") + b"\r\n"))

    def said(self) -> bytes:
        """Everything said up to now, removed."""
        out = b""
        while self._line_out and self._line_out[0][0] <= self.now_s:
            out += heapq.heappop(self._line_out)[2]
        return out

    def next_said_s(self) -> float | None:
        return self._line_out[0][0] if self._line_out else None

    def drop_unsaid(self) -> None:
        """Forget what was to be said after now."""
        self._line_out = sorted(entry for entry in self._line_out if entry[0] <= self.now_s)

    def released(self) -> bool:
        return not self.kernel.moving() and self.now_s >= self.released_after_s
