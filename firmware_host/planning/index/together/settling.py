"""How long many parts ring, in one go.

As in `peaks`, time is counted in 1/w of each part's slowest oscillator, and what is left of a swing in half microsteps.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.train.oscillators import Oscillators
from firmware_host.mechanics.train.vibration import DampingRange, FrequencyBand
from firmware_host.planning.index.ringing import INSTANT, Pulses, longest_of
from firmware_host.planning.index.times import paired_times
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.load.torsion import Torsion

_STILL = 1e-300
_AT_ONCE = 96  # moves: so many stay near the processor


@dataclass(frozen=True, slots=True, eq=False)
class Gated:
    """Moves that gates open after, each of some part, arrays of shape (moves,).

    `length`, `lead` (rad): of the move, and of that directly before it or 0. `slowest`: the least natural angular
    frequency w (rad/s) of the part; `tolerance`: half a microstep (rad of the part); `first`, `rest`: of its `Torsion`.
    """

    length: FloatArray
    lead: FloatArray
    slowest: FloatArray
    tolerance: FloatArray
    first: FloatArray
    rest: FloatArray

    def those(self, some: slice) -> Gated:
        """Some of them."""
        return Gated(*(getattr(self, each.name)[some] for each in fields(self)))

    def pulses(self, acceleration: FloatArray, speed: FloatArray) -> Pulses:
        """What they make the parts swing by, with motions (rad/s^2, rad/s of the part) of shape (..., moves)."""
        w, first = self.slowest, self.first
        a, v = acceleration / (np.square(w) * self.tolerance), speed / (self.tolerance * w)
        length, lead = self.length / self.tolerance, self.lead / self.tolerance
        led = bool(lead.any())
        if led:
            length, first = np.append(length, lead), np.tile(first, 2)
            a, v = np.concatenate([a, a], axis=-1), np.concatenate([v, v], axis=-1)
        times = paired_times(length, length, length, a, v)
        return Pulses(replace(times, acceleration=a * first), led, Torsion(rest=float((self.rest / self.first).max())))


def settle_times_of(
    moves: Gated,
    acceleration: FloatArray,
    speed: FloatArray,
    ratio: float,
    damping: DampingRange,
    check: Check = never,
) -> FloatArray:
    """Seconds until each part rings by less than half a microstep: as `ringing.longest_settling`, shape (moves,).

    `acceleration` and `speed`: of the part that makes each move. `ratio`: of the highest natural angular frequency to
    the least, the same of all.
    """
    found, band = np.zeros(moves.length.shape), FrequencyBand(1.0, ratio)
    for begin in range(0, found.size, _AT_ONCE):
        some = slice(begin, begin + _AT_ONCE)
        own = moves.those(some)
        instant = INSTANT * float(own.slowest.max())
        pulses = own.pulses(acceleration[some], speed[some])
        found[some] = longest_of(pulses, band, damping, 1.0, instant, check) / own.slowest
    return found


def settle_nearly(moves: Gated, acceleration: FloatArray, speed: FloatArray, among: Oscillators) -> FloatArray:
    """The same of each of `among` (natural frequencies over that of the slowest), nearly: (oscillators, ..., moves).

    Motions of shape (..., moves). Negative where the part rings less from the start.
    """
    natural, damping = among.before(acceleration.ndim)
    swing = moves.pulses(acceleration, speed).swing(natural, damping, roughly=True)
    least = np.square(natural) * np.sqrt(1 - np.square(damping))
    return np.asarray(np.log(np.maximum(swing, _STILL) / least) / (damping * natural * moves.slowest))
