"""How far the ringing lifts the acceleration of the load above the commanded one, and with it torque and grip."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from firmware_host.mechanics.groups import largest_of_few
from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.train.index_swing import SwingPeaks, swing_peaks
from firmware_host.mechanics.train.oscillators import (
    FIRST_OVER,
    OVER,
    Cells,
    Oscillators,
    Pieces,
    step_bend,
    throughout,
    worst_of,
)
from firmware_host.mechanics.train.vibration import DampingRange, FrequencyBand, sudden_peak_factor, worst_phasor
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.index.times import IndexTimes, different_times
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.load.case import LoadCase

WORST_PEAK = 4.0
"""The most it can be: a ramp reversed half a period after its start swings back from twice its lag, undamped."""

HAIR = 3e-3
"""By what part of it a largest peak that is told may lie above the true one."""

PeakBounds = Callable[[LoadCase, IndexTimes], SwingPeaks]
"""How far a load swings at most, shape (..., groups)."""

_AT_ONCE = sudden_peak_factor(0.0)


def peak_bounds(load: LoadCase, times: IndexTimes) -> SwingPeaks:
    """At most so far, shape (..., groups), for any length of a group and any machine of the load's band and damping.

    Quick and coarse: each ramp's ringing is taken at its own worst. The ramp up sets in at once: twice, undamped. When
    braking sets in, the ramp before may still ring: the load swings about its new rest from |P| = |1 + y (1 - z(T))|
    steady lags away (y the decay and phase of the cruise), and so reaches 1 + |P| exp(-zeta phase): up to 4 undamped,
    when a triangle is reversed half a period after its start. Before the stop it may run backward already, in the last
    |P|/w of the ramp. After the stop the residual swings both ways. Least damping; |P| at its worst over the band.
    """
    band, zeta = load.natural_band, load.damping.lowest
    root = math.sqrt(1.0 - zeta**2)
    ring = worst_phasor(1.0, times.ramp_short, times.ramp_long, band, zeta)
    brake = worst_phasor(1.0, times.until_brake_short, times.until_brake_long, band, zeta)
    cruise_short = np.maximum(times.until_brake_short - times.ramp_short, 0.0)
    cruise_long = np.maximum(times.until_brake_long - times.ramp_long, 0.0)
    left = ring * np.exp(-zeta * band.lowest * cruise_short)
    at_once = worst_phasor(2.0, times.ramp_short, times.ramp_long, band, zeta)
    soon = at_once + ring * worst_phasor(1.0, cruise_short, cruise_long, band, zeta)
    swing = np.minimum(1.0 + left, soon)
    turned = math.pi - 2 * math.asin(zeta) - np.arcsin(np.minimum(left, 1.0))
    reached = 1.0 + swing * np.exp(-zeta * turned / root)
    swing = swing / root
    backward = 1.0 + swing * np.exp(-zeta * np.maximum(band.lowest * times.ramp_short - swing, 0.0))
    pushing = np.maximum(ring * brake / root, np.minimum(backward, reached))
    return _twisted(load, times, SwingPeaks(np.maximum(pushing, _AT_ONCE), np.maximum(reached, _AT_ONCE)))


def first_peak(load: LoadCase) -> float:
    """How far the first swing of a ramp of half a period or more reaches over its acceleration, least damping.

    1 + exp(-zeta (pi - 2 asin zeta)/sqrt(1 - zeta^2)), half a period after its start.
    """
    zeta = load.damping.lowest
    at_once = 1.0 + math.exp(-zeta * (math.pi - 2 * math.asin(zeta)) / math.sqrt(1.0 - zeta**2))
    return float(load.torsion.peak(at_once))


def rough_peak_bounds(load: LoadCase, times: IndexTimes) -> SwingPeaks:
    """`peak_bounds` with every ramp in its worst phase: larger, and in a tenth of the time."""
    band, zeta = load.natural_band, load.damping.lowest
    root = math.sqrt(1.0 - zeta**2)
    rate = -zeta * band.lowest
    ring, brake = 1.0 + np.exp(rate * times.ramp_short), 1.0 + np.exp(rate * times.until_brake_short)
    left = ring * np.exp(rate * np.maximum(times.until_brake_short - times.ramp_short, 0.0))
    turned = math.pi - 2 * math.asin(zeta) - math.pi / 2 * np.minimum(left, 1.0)
    reached = 1.0 + (1.0 + left) * np.exp(-zeta * turned / root)
    swing = (1.0 + left) / root
    backward = 1.0 + swing * np.exp(-zeta * np.maximum(band.lowest * times.ramp_short - swing, 0.0))
    pushing = np.maximum(ring * brake / root, np.minimum(backward, reached))
    return _twisted(load, times, SwingPeaks(np.maximum(pushing, _AT_ONCE), np.maximum(reached, _AT_ONCE)))


def peaks_among(load: LoadCase, times: IndexTimes, among: Oscillators) -> SwingPeaks:
    """The farthest that any of `among` swings, shape (..., groups); `peak_bounds` where a group holds several lengths.

    One frequency and one damping at a time.
    """
    each = _each(times, among)
    return _bounded(load, times, SwingPeaks(each.pushing.max(axis=0), each.holding.max(axis=0)))


def _each(times: IndexTimes, among: Oscillators) -> SwingPeaks:
    natural, damping = among.before(times.ramp_short.ndim)
    cruise = np.maximum(times.until_brake_short - times.ramp_short, 0.0)
    return swing_peaks(times.ramp_short, cruise, natural, damping)


def _bounded(load: LoadCase, times: IndexTimes, found: SwingPeaks) -> SwingPeaks:
    """`found` of single oscillators, of a train that may twist, or the bounds where a group holds several lengths."""
    found = _twisted(load, times, found)
    if times.ramp_long is times.ramp_short:
        return found
    several = (times.ramp_long > times.ramp_short) | (times.until_brake_long > times.until_brake_short)
    bounds = peak_bounds(load, times)
    return SwingPeaks(
        np.where(several, bounds.pushing, found.pushing), np.where(several, bounds.holding, found.holding)
    )


def _twisted(load: LoadCase, times: IndexTimes, found: SwingPeaks) -> SwingPeaks:
    """With what a train that twists adds to the peaks of its lowest frequency, and a step of speed at both ends."""
    pushing, holding = load.torsion.peak(found.pushing), load.torsion.peak(found.holding)
    if (jumps := load.started(times.acceleration, times.until_brake_short)) is None:
        return SwingPeaks(pushing, holding)
    more = load.natural_band.highest * jumps[1] / times.acceleration
    return SwingPeaks(pushing + more, holding + more)


def largest_peaks(
    load: LoadCase, moves: IndexMoves, acceleration: float, speed: float, check: Check = never
) -> tuple[float, float]:
    """The largest of all moves, (pushed on, held back), at one motion (part rad/s^2 and rad/s, > 0).

    Whatever machine of the load's band and damping it is: never less, and more by `HAIR` of it. `check` is called on
    the way and may raise.
    """
    times = different_times(moves, acceleration, speed)

    def swung(among: Oscillators) -> SwingPeaks:
        each = _each(times, among)
        return SwingPeaks(largest_of_few(each.pushing)[..., None], largest_of_few(each.holding)[..., None])

    worst = largest_swings(load.natural_band, load.damping, swung, HAIR, check)
    shape = times.ramp_short.shape
    worst = SwingPeaks(np.broadcast_to(worst.pushing, shape), np.broadcast_to(worst.holding, shape))
    found = _bounded(load, times, worst)
    return float(found.pushing.max()), float(found.holding.max())


def largest_swings(
    band: FrequencyBand,
    damping: DampingRange,
    swung: Callable[[Oscillators], SwingPeaks],
    hair: float,
    check: Check = never,
) -> SwingPeaks:
    """The largest of some moves each, whatever oscillator of both ranges it is; shape (moves,).

    `swung`: how far they make oscillators swing, (oscillators, moves). Never less, and more by the part `hair` of it.
    """

    def judge(cells: Cells, pieces: Pieces) -> tuple[Cells, FloatArray, Callable[[], FloatArray]]:
        check()
        each, found = swung(cells.at(pieces.places)), cells.split(pieces)
        peaks = np.concatenate([each.pushing, each.holding], axis=-1)
        ends = (-1, pieces.places.shape[0], peaks.shape[-1])
        reached = peaks.reshape(ends)[:, pieces.corners].max(axis=2).reshape(-1, peaks.shape[-1])
        return found, reached, lambda: reached + step_bend(found)[:, None]

    worst = worst_of(throughout(band, damping), judge, FIRST_OVER, OVER, hair, 0.0)
    return SwingPeaks(*worst.reshape(2, -1))
