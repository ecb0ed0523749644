"""How long a run still takes: learned from what its passes and its moves have really taken."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from functools import lru_cache
from itertools import islice, pairwise

from firmware_host.clock import Clock
from firmware_host.station.axis_mover import AxisMover
from firmware_host.station.passes.control import PassKey

_REMEMBERED = 100
_LOOKED_AT = 500
"""Passes left that are looked at one by one; those behind them count as these do on average."""


class TimeLeft:
    """Told of each move and each pass, it knows how much longer than planned they take, and so how long it still takes.

    A pass counts from when its segment has settled, or from the end of the pass before, to its own end: marking, gate,
    answers and journal. A move counts with all that its end takes to be proved. While the run
    waits for its operator, no time counts.
    """

    def __init__(self, clock: Clock, settle_s: float) -> None:
        self._clock = clock
        self._settle_s = settle_s
        self._passes_s: deque[float] = deque(maxlen=_REMEMBERED)
        self._more_s: deque[float] = deque(maxlen=_REMEMBERED)
        self._way_s = lru_cache(maxsize=2 * _LOOKED_AT)(_way_s)  # the same ways are looked at after each pass
        self._from_s: float | None = None
        self._planned_s: float | None = None

    def moves(self, mover: AxisMover, segment: int) -> None:
        """A move to a segment (from 1) begins."""
        self._from_s = self._clock.monotonic()
        self._planned_s = None if mover.unwinding(segment) is not None else mover.duration(mover.position(segment))

    def settles(self, settled_s: float) -> None:
        """The move has ended; it will have settled at `settled_s` (monotonic s)."""
        if self._from_s is not None and self._planned_s is not None:
            self._more_s.append(max(settled_s - self._from_s - self._planned_s - self._settle_s, 0.0))
        self._from_s = max(settled_s, self._clock.monotonic())

    def interrupted(self) -> None:
        """What has passed until now counts for nothing: it waited for the operator, or a pass was broken off."""
        self._from_s = self._clock.monotonic()

    def marked(self) -> None:
        """A pass has come to its end."""
        now_s = self._clock.monotonic()
        if self._from_s is not None:
            self._passes_s.append(now_s - self._from_s)
        self._from_s = now_s

    def left_s(self, mover: AxisMover, standing: int, to_do: Sequence[PassKey]) -> float | None:
        """Seconds (>= 0) for the passes `to_do` and the way to the end position, from the segment `standing` (from 1).

        None as long as no pass was marked.
        """
        if not self._passes_s:
            return None
        segments = [standing, *(segment for segment, _ in islice(to_do, _LOOKED_AT))]
        ways_s = [self._way_s(mover, a, b) for a, b in pairwise(segments) if a != b]
        moving_s = sum(ways_s) + len(ways_s) * (self._settle_s + _mean(self._more_s))
        moving_s *= len(to_do) / max(len(segments) - 1, 1)
        if mover.finish is not None:
            last = to_do[-1][0] if to_do else standing
            moving_s += mover.duration(mover.finish, mover.position(last)) + _mean(self._more_s)
        return len(to_do) * _mean(self._passes_s) + moving_s


def _way_s(mover: AxisMover, start: int, end: int) -> float:
    """How long the move from one segment to another (from 1) is planned to take, s."""
    return mover.duration(mover.position(end), mover.position(start))


def _mean(taken_s: deque[float]) -> float:
    return sum(taken_s) / len(taken_s) if taken_s else 0.0
