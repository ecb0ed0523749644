"""Velocity curves with one constant acceleration: triangles and trapezoids, in closed form.

Lengths in units of the axis, speeds in units/s, accelerations in units/s^2, times in s. Along-path values are >= 0.
Formulas: uniformly accelerated motion, v^2 = v0^2 + 2*a*s and s = v0*t + a*t^2/2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Phase:
    """A stretch of one block at constant acceleration.

    From `from_length` at speed `entry` (units/s) for `duration_s` to `to_length` at speed `exit`, which are the exact
    ends: what is evaluated in between is never the start of the next stretch. `ends_block`: the block's last stretch.
    """

    start_s: float
    duration_s: float
    from_length: float
    to_length: float
    entry: float
    exit: float
    ends_block: bool

    @property
    def end_s(self) -> float:
        return self.start_s + self.duration_s

    def at(self, now_s: float) -> tuple[float, float]:
        """Length travelled along the block and speed at `now_s`, clipped to the stretch."""
        elapsed = now_s - self.start_s
        if elapsed <= 0:
            return self.from_length, self.entry
        if elapsed >= self.duration_s:
            return self.to_length, self.exit
        acceleration = (self.exit - self.entry) / self.duration_s
        length = self.from_length + elapsed * (self.entry + acceleration * elapsed / 2)
        return min(length, self.to_length), self.entry + acceleration * elapsed

    def reaches_s(self, speed: float) -> float | None:
        """Instant at which the stretch exceeds `speed` (units/s), or None if it stays at or below it."""
        if self.entry > speed:
            return self.start_s
        if self.exit <= speed:
            return None
        return self.start_s + self.duration_s * (speed - self.entry) / (self.exit - self.entry)


def reachable(speed: float, acceleration: float, length: float) -> float:
    """Highest speed `length` after `speed`; also the highest from which one can slow down to it."""
    return math.sqrt(speed * speed + 2 * acceleration * length)


def block_phases(
    start_s: float, travelled: float, length: float, speeds: tuple[float, float, float], acceleration: float
) -> list[Phase]:
    """Quickest way through the rest of a block: speed up, cruise, slow down.

    `speeds` = (entry, highest, exit) with entry and exit <= highest and reachable from each other over the rest of the
    block; `travelled` < `length` is what lies behind.
    """
    entry, highest, leave = speeds
    rest = length - travelled
    peak = math.sqrt((2 * acceleration * rest + entry * entry + leave * leave) / 2)
    peak = max(min(peak, highest), entry, leave)
    up = (peak * peak - entry * entry) / (2 * acceleration)
    down = (peak * peak - leave * leave) / (2 * acceleration)
    cruise = rest - up - down
    stretches = [
        ((peak - entry) / acceleration, up, entry, peak),
        (cruise / peak, cruise, peak, peak) if cruise > 0 else (0.0, 0.0, peak, peak),
        ((peak - leave) / acceleration, down, peak, leave),
    ]
    kept = [stretch for stretch in stretches if stretch[0] > 0] or [(0.0, rest, entry, leave)]
    phases: list[Phase] = []
    for index, (duration_s, distance, first, last) in enumerate(kept):
        ends = index == len(kept) - 1
        to_length = length if ends else min(travelled + distance, length)
        phases.append(Phase(start_s, duration_s, travelled, to_length, first, last, ends))
        start_s, travelled = start_s + duration_s, to_length
    return phases


def waiting_phase(start_s: float, travelled: float, to_length: float, duration_s: float) -> Phase:
    """A stretch that takes `duration_s` (> 0) to `to_length` (> `travelled`), at one speed and not the block's last."""
    speed = (to_length - travelled) / duration_s
    return Phase(start_s, duration_s, travelled, to_length, speed, speed, ends_block=False)
