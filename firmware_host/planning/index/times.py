"""How long the ramps and cruises of groups of indexes last, at one motion or at many."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray, FloatOrArray
from firmware_host.planning.index.moves import IndexMoves


@dataclass(frozen=True, slots=True, eq=False)
class IndexTimes:
    """Groups of indexes at some motions, s, arrays of shape (..., groups).

    `ramp_*`: one ramp; `until_brake_*`: ramp and cruise; each shortest and longest in the group, one array where no
    group holds several lengths. `duration`: of the group's mean index.
    """

    acceleration: FloatArray
    ramp_short: FloatArray
    ramp_long: FloatArray
    until_brake_short: FloatArray
    until_brake_long: FloatArray
    duration: FloatArray

    @property
    def shortest(self) -> FloatArray:
        """Of the shortest index of each group, s."""
        return self.ramp_short + self.until_brake_short

    def at(self, motions: NDArray[np.intp]) -> IndexTimes:
        """The same of some motions alone, `motions` of shape (n,), where those of all have one axis."""
        one_length, short, brake_short = (
            self.ramp_long is self.ramp_short,
            self.ramp_short[motions],
            self.until_brake_short[motions],
        )
        return IndexTimes(
            self.acceleration[motions],
            short,
            short if one_length else self.ramp_long[motions],
            brake_short,
            brake_short if one_length else self.until_brake_long[motions],
            self.duration[motions],
        )


def index_times(
    shortest: FloatArray, longest: FloatArray, mean: FloatArray, acceleration: FloatOrArray, speed: FloatOrArray
) -> IndexTimes:
    """Times of groups of index lengths (rad, shape (groups,)) at each motion (rad/s^2, rad/s; they broadcast, > 0).

    A triangle in speed if d <= v^2/a, else a trapezoid (see `velocity.plan_index`). Where no group holds several
    lengths, `longest` and `shortest` are one array, and `mean` isn't looked at.
    """
    a, v = np.asarray(acceleration), np.asarray(speed)
    if a.shape != v.shape:
        a, v = np.broadcast_arrays(a, v)
    return paired_times(shortest, longest, mean, a[..., None], v[..., None])


def paired_times(
    shortest: FloatArray, longest: FloatArray, mean: FloatArray, acceleration: FloatArray, speed: FloatArray
) -> IndexTimes:
    """The same of each length at the motion that stands where it stands: they broadcast."""
    a, v = acceleration, speed
    full_ramp = v / a

    def parts(length: FloatArray) -> tuple[FloatArray, FloatArray]:
        of_triangle = np.sqrt(length / a)
        return np.minimum(full_ramp, of_triangle), np.maximum(length / v, of_triangle)

    ramps, brakes = parts(shortest)
    if longest is shortest:
        return IndexTimes(a, ramps, ramps, brakes, brakes, ramps + brakes)
    longest_ramps, longest_brakes = parts(longest)
    mean_ramps, mean_brakes = parts(mean)
    return IndexTimes(a, ramps, longest_ramps, brakes, longest_brakes, mean_ramps + mean_brakes)


def times_of(moves: IndexMoves, acceleration: FloatOrArray, speed: FloatOrArray) -> IndexTimes:
    """`index_times` of all groups of `moves`."""
    return index_times(moves.shortest, moves.longest, moves.mean, acceleration, speed)


def different_times(moves: IndexMoves, acceleration: FloatOrArray, speed: FloatOrArray) -> IndexTimes:
    """The same, groups of one length once: for what looks for the farthest of them all."""
    return index_times(*moves.different_lengths, acceleration, speed)
