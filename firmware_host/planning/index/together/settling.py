"""How long many parts ring, in one go.

As in `peaks`, time is counted in 1/w of each part's slowest oscillator, and what is left of a swing in half microsteps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.train.vibration import DampingRange, FrequencyBand
from firmware_host.planning.index.ringing import INSTANT, Pulses, longest_of
from firmware_host.planning.index.times import paired_times
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.load.torsion import Torsion

_AT_ONCE = 96  # moves: so many stay near the processor


@dataclass(frozen=True, slots=True, eq=False)
class Gated:
    """Moves that gates open after, each of some part, arrays of shape (moves,).

    `length`, `lead` (rad): of the move, and of that directly before it or 0; `acceleration` (rad/s^2), `speed` (rad/s):
    of the part. `slowest`: its least natural angular frequency w (rad/s). `tolerance`: half a microstep (rad of the
    part). `first`, `rest`: of its `Torsion`.
    """

    length: FloatArray
    lead: FloatArray
    acceleration: FloatArray
    speed: FloatArray
    slowest: FloatArray
    tolerance: FloatArray
    first: FloatArray
    rest: FloatArray

    def pulses(self, some: slice) -> Pulses:
        """What some of them make the parts swing by."""
        w, first = self.slowest[some], self.first[some]
        unit = np.square(w) * self.tolerance[some]
        a, v = self.acceleration[some] / unit, self.speed[some] / (self.tolerance[some] * w)
        length, lead = (each[some] / self.tolerance[some] for each in (self.length, self.lead))
        led = bool(lead.any())
        if led:
            length, a, v, first = np.append(length, lead), np.tile(a, 2), np.tile(v, 2), np.tile(first, 2)
        times = paired_times(length, length, length, a, v)
        times = type(times)(a * first, *(times.ramp_short,) * 2, *(times.until_brake_short,) * 2, times.duration)
        return Pulses(times, led, Torsion(rest=float((self.rest[some] / self.first[some]).max())))


def settle_times_of(moves: Gated, ratio: float, damping: DampingRange, check: Check = never) -> FloatArray:
    """Seconds until each part rings by less than half a microstep: as `ringing.longest_settling`, shape (moves,).

    `ratio`: of the highest natural angular frequency to the least, the same of all.
    """
    found, band = np.zeros(moves.length.shape), FrequencyBand(1.0, ratio)
    for begin in range(0, found.size, _AT_ONCE):
        some = slice(begin, begin + _AT_ONCE)
        slowest = moves.slowest[some]
        instant = INSTANT * float(slowest.max())
        found[some] = longest_of(moves.pulses(some), band, damping, 1.0, instant, check) / slowest
    return found
