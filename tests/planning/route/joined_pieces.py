"""A controller's planner for the tests of pieces, of their own: it never changes the piece that it has begun."""

from __future__ import annotations

import itertools
import math
from bisect import bisect_left, bisect_right
from dataclasses import dataclass

from firmware_host.planning.route.pieces import Pieces, Ramp


@dataclass(frozen=True)
class Joined:
    """How a move in pieces went: s, the most pieces in the controller at once, and the longest way to a standstill (s)
    from any instant at which a piece arrived, if nothing more had been sent.
    """

    duration_s: float
    most_waiting: int
    longest_stop_s: float


def joined(pieces: Pieces, ramp: Ramp, at_once_s: float) -> Joined:
    """Each piece arrives when it is due, those due within the first `at_once_s` (s) before the first begins.

    When a piece begins, its ramps are fixed for the speed at its end from which the pieces that are there can still
    slow down (v^2 = v0^2 + 2*a*s).
    """
    ends = [0, *pieces.ends.tolist()]
    due = [0.0 if at < at_once_s / 2 else float(at) for at in pieces.due_s]
    now_s = speed = longest = 0.0
    most = known = 0
    for index, (here, there) in enumerate(itertools.pairwise(ends)):
        begun_s, entry = now_s, speed
        known = bisect_right(due, begun_s)
        now_s, speed = _made(begun_s, entry, there - here, ends[known] - there, ramp)
        arrived = bisect_left(due, now_s - 1e-9)
        most = max(most, arrived - index)
        for number in range(known, arrived + 1):
            if number == known or due[number - 1] > begun_s:
                at = begun_s if number == known else due[number - 1]
                longest = max(longest, _stopped_s(now_s, speed, ends[index + 1 : number + 1], ramp) - at)
    return Joined(now_s, most, longest)


def _stopped_s(now_s: float, speed: float, ends: list[int], ramp: Ramp) -> float:
    """When it stands if nothing comes but what is there, from the end of the piece under way (s)."""
    for here, there in itertools.pairwise(ends):
        now_s, speed = _made(now_s, speed, there - here, ends[-1] - there, ramp)
    return now_s


def _made(now_s: float, entry: float, length: float, behind: float, ramp: Ramp) -> tuple[float, float]:
    """When a piece is made, and the speed at its end: `behind` steps are there to slow down in after it."""
    leave = min(ramp.speed, math.sqrt(2 * ramp.acceleration * behind))
    leave = min(leave, math.sqrt(entry**2 + 2 * ramp.acceleration * length))
    peak = min(math.sqrt((2 * ramp.acceleration * length + entry**2 + leave**2) / 2), ramp.speed)
    peak = max(peak, entry, leave)
    ramps = (2 * peak**2 - entry**2 - leave**2) / (2 * ramp.acceleration)
    cruise_s = max(length - ramps, 0.0) / peak if peak else 0.0
    return now_s + (2 * peak - entry - leave) / ramp.acceleration + cruise_s, leave
