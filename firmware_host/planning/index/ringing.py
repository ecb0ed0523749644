"""What ringing costs an index: the time to settle to half a microstep.

A rotor swings on its magnetic spring at a natural frequency and a damping that follow from data with tolerances, so
nothing here trusts them: they may lie anywhere in the load's `natural_band` and `damping`. What counts is the one
machine of them all that takes longest, with its one frequency and its one damping. Ramps that last a whole number of
natural periods still pay: with one period the worst residual in a band of 10 % is a third of what it could be.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from firmware_host.mechanics.groups import largest_of_few
from firmware_host.mechanics.guard import FloatArray, FloatOrArray
from firmware_host.mechanics.train.index_swing import pulse_bend, pulse_square
from firmware_host.mechanics.train.oscillators import ALONG, FIRST_ALONG, Cells, Oscillators, Pieces, edge, worst_of
from firmware_host.mechanics.train.vibration import DampingRange, FrequencyBand
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.index.times import IndexTimes, index_times
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.load.case import LoadCase
from firmware_host.planning.load.torsion import Torsion

_STILL = 1e-300

INSTANT = 1e-6
"""Seconds of ringing that count as none."""

_AT_A_TIME = 8192  # so many numbers stay near the processor


def half_microstep(load: LoadCase) -> float:
    """Half a microstep in rad of the part: how still it must be before a gate opens."""
    return math.pi / (load.full_steps * load.microsteps * load.ratio)


@dataclass(frozen=True, slots=True, eq=False)
class Pulses:
    """What makes the part swing before the gates of some motions: the gated indexes, and what leads to them, if any.

    `times`: of shape (..., gated groups), or twice as many where they are `led`: behind the indexes their leads. A lead
    ends without settling; the index begins right after it, or later. `torsion`: what a train that twists adds to the
    swing of its lowest frequency; `jump`: what steps of speed at the ends add, over w (rad/s), None without.
    """

    times: IndexTimes
    led: bool
    torsion: Torsion
    jump: FloatArray | None = None

    @classmethod
    def of(cls, load: LoadCase, moves: IndexMoves, acceleration: FloatOrArray, speed: FloatOrArray) -> Pulses:
        """Of the gated groups of `moves` at each motion (part rad/s^2 and rad/s; they broadcast, > 0)."""
        times = index_times(*moves.gated_lengths, acceleration, speed)
        jumps = load.started(times.acceleration, times.shortest)
        return cls(times, moves.led, load.torsion, jumps[0] if jumps is not None else None)

    def swing(self, natural: FloatOrArray, damping: FloatOrArray, *, roughly: bool = False) -> FloatArray:
        """w^2 sqrt(1 - zeta^2) times the amplitude (rad of the part) that is left at the end, rad/s^2, broadcast.

        Ramp up, cruise and ramp down leave a |1 - z(T)| |1 - z(T + c)|, z(t) = exp(pole t): the four jumps of
        `vibration.index_residual_amplitude`, factorised. What a lead has left is added in the worst phase, as nobody
        knows how long after it the index begins. `roughly`: see `pulse_square`.
        """
        times = self.times
        ramp, brake = _pulses(times, natural, damping, roughly)
        swing = self.torsion.swing(times.acceleration * np.sqrt(ramp * brake), times.acceleration)
        if self.jump is not None:
            swing = swing + natural * self.jump
        if not self.led:
            return swing
        half = swing.shape[-1] // 2
        return swing[..., :half] + np.exp(-damping * natural * times.shortest[..., :half]) * swing[..., half:]

    def bend(self, natural: FloatArray, decay: FloatArray) -> FloatArray:
        """Bound of the second derivative of what `swing` is the size of, by ln w and by asin(zeta), rad/s^2.

        `natural`: the highest w of a cell, `decay` (1/s) its least zeta w.
        """
        soonest, latest = self.times.shortest, self.times.ramp_long + self.times.until_brake_long
        jumps = natural * self.jump if self.jump is not None else 0.0  # it goes with w, and not with the damping
        if not self.led:
            return self.torsion.first * _bend(self.times, 0 * soonest, 0 * latest, natural, decay) + jumps
        half = soonest.shape[-1] // 2
        soonest, latest = (
            np.concatenate([0 * each[..., :half], each[..., :half]], axis=-1) for each in (soonest, latest)
        )
        found = self.torsion.first * _bend(self.times, soonest, latest, natural, decay) + jumps
        return found[..., :half] + found[..., half:]


def settle_times(
    load: LoadCase,
    moves: IndexMoves,
    acceleration: FloatOrArray,
    speed: FloatOrArray,
    among: Oscillators,
    check: Check = never,
) -> FloatArray:
    """Seconds until the part rings by less than half a microstep, whichever of `among` it is; shape (...), >= 0.

    The longest of all groups that a gate opens after; motions in part rad/s^2 and rad/s, they broadcast. The one
    machine that takes longest may lie between those of `among`: see `longest_settling`. To a millionth. `check` is
    called from time to time and may raise.
    """
    shape = np.broadcast_shapes(np.shape(acceleration), np.shape(speed))
    worst, count = np.zeros(shape), max(math.prod(shape) * int(moves.gated.sum()), 1)
    together = max(1, _AT_A_TIME // count)
    for first in range(0, among.natural.size, together):
        check()
        some = among.chosen(slice(first, first + together))
        np.maximum(worst, settle_each(load, moves, acceleration, speed, some).max(axis=0), out=worst)
    return worst


def settle_each(
    load: LoadCase, moves: IndexMoves, acceleration: FloatOrArray, speed: FloatOrArray, among: Oscillators
) -> FloatArray:
    """The same of each of `among`, shape (oscillators, ...); negative where the part rings less from the start."""
    pulses = Pulses.of(load, moves, acceleration, speed)
    return _seconds(load, pulses, *among.before(pulses.times.duration.ndim))


def settle_of(
    load: LoadCase, moves: IndexMoves, acceleration: FloatArray, speed: FloatArray, own: Oscillators
) -> FloatArray:
    """`settle_each` of one oscillator for each motion: those of `own`, shape (n,) as the motions."""
    pulses = Pulses.of(load, moves, acceleration, speed)
    return _seconds(load, pulses, own.natural[:, None], own.damping[:, None])


def _seconds(load: LoadCase, pulses: Pulses, natural: FloatArray, damping: FloatArray) -> FloatArray:
    """To a millionth; oscillators of a shape that broadcasts with the groups of `pulses`, the last axis."""
    swing = pulses.swing(natural, damping, roughly=True)
    if swing.shape[-1] == 0:
        return np.zeros(swing.shape[:-1])
    least = np.square(natural) * np.sqrt(1 - np.square(damping)) * half_microstep(load)
    largest = np.maximum(largest_of_few(swing)[..., None], _STILL)
    return np.asarray(np.log(largest / least) / (damping * natural))[..., 0]


def longest_settling(
    load: LoadCase, moves: IndexMoves, acceleration: float, speed: float, check: Check = never
) -> FloatArray:
    """Seconds until each group of moves rings by less than half a microstep, shape (groups,); 0 where no gate opens.

    At one motion (part rad/s^2 and rad/s, > 0), for the worst machine of the load's band and damping: never less, and
    longer by at most a thousandth. It lies on the edge of both ranges (see `oscillators`), which is gone along in
    cells; in a cell the swing is at most that of its worse end and the bound of its bend.
    """
    settle = np.zeros(moves.gated.shape)
    if not moves.gated.any():
        return settle
    pulses, tolerance = Pulses.of(load, moves, acceleration, speed), half_microstep(load)
    settle[moves.gated] = longest_of(pulses, load.natural_band, load.damping, tolerance, INSTANT, check)
    return settle


def longest_of(
    pulses: Pulses, band: FrequencyBand, damping: DampingRange, tolerance: float, instant: float, check: Check = never
) -> FloatArray:
    """Seconds until what each of `pulses` leaves is less than `tolerance` (rad of the part), shape (gated groups,).

    As `longest_settling`, whatever machine of both ranges it is; no more than an `instant` (s) counts as none.
    """

    def judge(cells: Cells, pieces: Pieces) -> tuple[Cells, FloatArray, Callable[[], FloatArray]]:
        check()
        natural, damping = cells.at(pieces.places).before(1)
        swing = pulses.swing(natural, damping)
        least = np.square(natural) * np.sqrt(1 - np.square(damping)) * tolerance
        seconds = np.log(np.maximum(swing, _STILL) / least) / (damping * natural)
        found, ends = cells.split(pieces), (-1, pieces.places.shape[0])
        reached, left = (
            each.reshape(*ends, each.shape[-1])[:, pieces.corners].max(axis=2).reshape(-1, each.shape[-1])
            for each in (seconds, swing)
        )

        def at_most() -> FloatArray:
            start, end = pieces.corners[:, 0], pieces.corners[:, -1]
            low, high, weak, strong = (
                each.reshape(ends)[:, side].reshape(-1, 1) for each in (natural, damping) for side in (start, end)
            )
            bend = pulses.bend(high, weak * low) * (np.square(found.size).sum(axis=-1) / 8)[:, None]
            swings = np.maximum(left + bend, _STILL)
            most = np.log(swings / (np.square(low) * np.sqrt(1 - np.square(strong)) * tolerance))
            return np.asarray(np.maximum(most / (weak * low), 0.0))

        return found, np.maximum(reached, 0.0), at_most

    settle = worst_of(edge(band, damping), judge, FIRST_ALONG, ALONG, 1e-3, instant)
    return np.where(settle > instant, settle, 0.0)


def _pulses(times: IndexTimes, natural: FloatOrArray, damping: FloatOrArray, roughly: bool) -> FloatArray:
    """See `pulse_square`: of the ramps and of ramp and cruise, shape (2, ...), broadcast with the oscillators."""
    axes = (1,) * (np.ndim(natural) - times.ramp_short.ndim)
    shortest = np.array([times.ramp_short, times.until_brake_short]).reshape(2, *axes, *times.ramp_short.shape)
    longest = shortest
    if times.ramp_long is not times.ramp_short:
        longest = np.array([times.ramp_long, times.until_brake_long]).reshape(shortest.shape)
    return pulse_square(shortest, longest, natural, damping, roughly=roughly)


def _bend(
    times: IndexTimes, soonest: FloatArray, latest: FloatArray, natural: FloatArray, decay: FloatArray
) -> FloatArray:
    """Of four jumps, the last of them from `soonest` to `latest` (s) before the end that is looked at."""
    ramps, brakes = (times.ramp_short, times.ramp_long), (times.until_brake_short, times.until_brake_long)
    ages = ((0.0, 0.0), ramps, brakes, (ramps[0] + brakes[0], ramps[1] + brakes[1]))
    bends = [pulse_bend(soonest + age[0], latest + age[1], natural, decay) for age in ages]
    return np.asarray(times.acceleration * (bends[0] + bends[1] + bends[2] + bends[3]))
