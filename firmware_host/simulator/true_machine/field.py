"""The field of a motor as a board's pulses turn it: its angle and speed at even steps of time.

Between two pulses the field stands. At a step of time it is taken as the mean over that step of what the pulses make
of it, so that a rate of pulses does not beat with the steps of time: with F(s) the integral of the whole part of s, the
mean is (F(s2) - F(s1))/(s2 - s1), exact where the speed is even within the step.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from firmware_host.mechanics.guard import FloatArray
from firmware_host.simulator.device import Stretch


class Field(NamedTuple):
    """`places`: pulses (real), `rates`: pulses/s, at the times k `step` (s) from the first pulse, shape (n,)."""

    places: FloatArray
    rates: FloatArray
    step: float


def field_of(stretches: Sequence[Stretch], longest_step: float) -> Field:
    """The field of stretches that follow one another without a pause, in steps no longer than `longest_step` (s)."""
    ends = np.cumsum(np.array([stretch.duration_s for stretch in stretches], dtype=np.float64))
    count = max(1, math.ceil(float(ends[-1]) / longest_step))
    step = float(ends[-1]) / count
    times = step * np.arange(count + 1, dtype=np.float64)
    before = _along(stretches, ends, np.maximum(times - step / 2, 0.0))
    behind = _along(stretches, ends, np.minimum(times + step / 2, ends[-1]))
    within = _along(stretches, ends, times)
    same = before.base == behind.base
    mean = _mean_of_whole(before.place, behind.place)
    made = np.where(same, mean, np.trunc(within.place)) + within.base
    made[-1] = stretches[-1].base + np.trunc(stretches[-1].last)
    return Field(made, within.rate, step)


class _Places(NamedTuple):
    base: FloatArray
    place: FloatArray
    rate: FloatArray


def _along(stretches: Sequence[Stretch], ends: FloatArray, times: FloatArray) -> _Places:
    """Block, place in it and rate at each time."""
    which = np.minimum(np.searchsorted(ends, times, side="right"), len(stretches) - 1)
    columns = np.array([(s.duration_s, s.base, s.first, s.last, s.first_rate, s.last_rate) for s in stretches])
    lasts, base, first, last, entry, leave = columns[which].T
    since = np.clip(times - (ends[which] - lasts), 0.0, lasts)
    place = first + since * (entry + (leave - entry) * since / (2 * lasts))
    low, high = np.minimum(first, last), np.maximum(first, last)
    return _Places(base, np.clip(place, low, high), entry + (leave - entry) * since / lasts)


def _mean_of_whole(first: FloatArray, last: FloatArray) -> FloatArray:
    """Mean of the whole part (cut off toward 0) of a place that goes evenly from `first` to `last`, of one sign."""
    apart = np.abs(last - first)
    moves = apart > 1e-9
    mean = (_integral(np.abs(last)) - _integral(np.abs(first))) / np.where(moves, np.abs(last) - np.abs(first), 1.0)
    sign = np.sign(first + last)
    return np.asarray(sign * np.where(moves, mean, np.floor(np.abs(first) + 1e-9)))


def _integral(place: FloatArray) -> FloatArray:
    """Of the whole part, from 0 to `place` (>= 0)."""
    whole = np.floor(place)
    return np.asarray(whole * (whole - 1) / 2 + whole * (place - whole))


def shortened(stretches: Sequence[Stretch], keep_s: float, period: int) -> tuple[list[Stretch], int]:
    """The same motion, but what is even for longer than `keep_s` shorter by whole periods of `period` pulses (> 0).

    Also how many pulses are left out, signed. A rotor that turns evenly with its field does so from period to period.
    """
    kept, out = [], 0
    for each in stretches:
        spare = each.duration_s - keep_s
        even = each.first_rate == each.last_rate and spare > 0
        periods = int(spare * abs(each.first_rate) / period) if even else 0
        here = period * periods if each.first_rate > 0 else -period * periods
        lasts = each.duration_s - (here / each.first_rate if periods else 0.0)
        kept.append(replace(each, duration_s=lasts, first=each.first - out, last=each.last - out - here))
        out += here
    return kept, out


def ramp(
    pulses: int, acceleration: float, speed: float, *, jump: float = 0.0, base: int = 0, start_s: float = 0.0
) -> tuple[Stretch, ...]:
    """A move of its own by so many `pulses` (signed, not 0), as a board makes it: up, along, down.

    `acceleration` pulses/s^2 and `speed` pulses/s, > 0; `jump`: speed at which it begins and ends at once, >= 0. It
    begins at `start_s`, `base` pulses after the beginning.
    """
    sign, whole = (1 if pulses > 0 else -1), float(abs(pulses))
    jump = min(jump, speed)
    peak = min(speed, math.sqrt(acceleration * whole + jump**2))
    up = (peak**2 - jump**2) / (2 * acceleration)
    marks = [0.0, up, whole - up, whole]
    stretches = []
    for at, there, first, last in zip(marks, marks[1:], (jump, peak, peak), (peak, peak, jump), strict=False):
        if there - at <= 1e-9 * whole:
            continue
        lasts_s = 2 * (there - at) / (first + last)
        ends = (sign * at, sign * there, sign * first, sign * last)
        stretches.append(Stretch(start_s, start_s + lasts_s, lasts_s, base, *ends))
        start_s += lasts_s
    return tuple(stretches)
