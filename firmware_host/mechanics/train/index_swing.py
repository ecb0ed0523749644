"""How an index makes one oscillator swing, for many indexes and many oscillators at once; see `vibration`.

An index ramps up at an acceleration a, cruises, and ramps down for as long. An oscillator of natural angular frequency
w (rad/s) and damping ratio zeta (0 < zeta < 1) answers each jump of a; the answers add up. Its pole is w p with
p = -zeta + i sqrt(1 - zeta^2) = exp(i (pi/2 + tilt)), sin(tilt) = zeta.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray, FloatOrArray

_Complex = NDArray[np.complex128]
_TURN = 2 * np.pi
_STEPS = 16
_NARROWINGS = 3
_FASTEST = 4.0
_DONE = np.arange(_STEPS + 1)[:, None]
_LEVELS = np.array([1.0, 0.0, -1.0, 0.0])
"""Of the pull about which an oscillator swings: in the ramps, the cruise and after the stop, over the acceleration."""


def pulse_swing(shortest: FloatArray, longest: FloatArray, natural: FloatOrArray, damping: FloatOrArray) -> FloatArray:
    """The largest |1 - exp(w p t)| for t from `shortest` to `longest` (s, >= 0): swing of a pulse over that of a jump.

    `natural` > 0 rad/s, 0 <= `damping` < 1; all broadcast. Undamped 2 |sin(w t/2)|. Exact where both times are one;
    else at the least cosine of the phases and at an end of the decay (see `vibration.worst_phasor`), an upper bound.
    """
    return np.sqrt(pulse_square(shortest, longest, natural, damping))


def pulse_square(
    shortest: FloatArray, longest: FloatArray, natural: FloatOrArray, damping: FloatOrArray, *, roughly: bool = False
) -> FloatArray:
    """The square of `pulse_swing`; `roughly`: to 1e-6 of what it can be at most, in a quarter of the time."""
    root = np.sqrt(1 - np.square(damping))
    most, phase = np.exp(-damping * natural * shortest), natural * root * shortest
    if longest is shortest:
        sine = _half_sine_square(phase) if roughly else np.square(np.sin(phase / 2))
        square = np.square(1 - most)
        most *= 4
        most *= sine
        square += most
        return np.asarray(square)
    last, fewest = natural * root * longest, np.exp(-damping * natural * longest)
    half_turn = (2 * np.ceil((phase / np.pi - 1) / 2) + 1) * np.pi
    sine = np.where(half_turn <= last, 1.0, np.maximum(np.square(np.sin(phase / 2)), np.square(np.sin(last / 2))))
    squares = [np.square(1 - decay) + 4 * decay * sine for decay in (most, fewest)]
    return np.asarray(np.maximum(*squares))


def _half_sine_square(phase: FloatArray) -> NDArray[np.float32]:
    """sin(phase/2)^2 in single precision; the whole turns are taken off in double."""
    turns = phase * (1 / _TURN)
    turns -= np.rint(turns)
    return np.square(np.sin((turns * np.pi).astype(np.float32)))


def pulse_bend(shortest: FloatOrArray, longest: FloatOrArray, natural: FloatArray, decay: FloatArray) -> FloatArray:
    """Bound of the second derivative of exp(w p t) by ln w, and by the tilt: ((w t)^2 + w t) exp(-zeta w t), >= 0.

    For t from `shortest` to `longest` (s, >= 0), w up to `natural` (rad/s) and zeta w from `decay` (1/s) on.
    """
    turned = natural * longest
    return np.asarray((np.square(turned) + turned) * np.exp(-decay * shortest))


@dataclass(frozen=True, slots=True, eq=False)
class SwingPeaks:
    """Largest acceleration of a swinging load over the commanded one, >= 0, broadcast: pushed on, and held back."""

    pushing: FloatArray
    holding: FloatArray


def swing_peaks(ramp: FloatArray, cruise: FloatArray, natural: FloatArray, damping: FloatArray) -> SwingPeaks:
    """The peaks of an index from a standstill: `ramp` and `cruise` >= 0 s, `natural` > 0 rad/s, 0 < `damping` < 1.

    Of the spring's pull w^2 e and of the load's acceleration w^2 e + 2 zeta w e', whichever is more. What swings on
    after the stop counts as pushing either way, and so does what holds the load back once it may already run backward:
    friction is then no help.
    """
    tilt, root = np.arcsin(damping), np.sqrt(1 - np.square(damping))
    jump = np.exp(-1j * tilt) / root
    turned, coasted = natural * ramp, natural * cruise
    over_ramp = _turned_on(turned, damping, root)
    cruising = jump * (1 - over_ramp)
    braking = cruising * _turned_on(coasted, damping, root) + jump
    resting = braking * over_ramp - jump
    shape = over_ramp.shape
    swings, lasts = np.empty((4, *shape), dtype=np.complex128), np.empty((4, *shape))
    swings[0], swings[1], swings[2], swings[3] = -jump, cruising, braking, resting
    lasts[0], lasts[1], lasts[2], lasts[3] = turned * root, coasted * root, turned * root, np.inf
    levels = _LEVELS.reshape(4, *(1,) * len(shape))
    lowest, highest = _extremes(swings, lasts, tilt, np.tan(tilt))
    lowest += levels
    highest += levels
    pushing = np.maximum(highest.max(axis=0), -lowest[3])
    backward = _pull_while_backward(braking, turned, damping, tilt, pushing, -lowest[2])
    return SwingPeaks(np.maximum(pushing, backward), -lowest.min(axis=0))


def _turned_on(by: FloatArray, damping: FloatArray, root: FloatArray) -> _Complex:
    """exp(p x) for x of `by` (>= 0), `root` being sqrt(1 - zeta^2)."""
    decay, phase = np.exp(-damping * by), root * by
    found = np.empty(by.shape, dtype=np.complex128)
    found.real, found.imag = decay * np.cos(phase), decay * np.sin(phase)
    return found


def _extremes(swing: _Complex, lasts: FloatArray, tilt: FloatArray, decay: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(lowest, highest) real part of `swing` exp(p x), and of that turned on by twice the tilt, for x from 0 on.

    As long as x cos(tilt) is within `lasts`, the end left out. `tilt` and its tangent `decay` broadcast with one
    `swing`.
    """
    angle, radius = np.arctan2(swing.imag, swing.real), np.abs(swing)
    size = radius * np.cos(tilt)
    start, wait = np.empty((2, *swing.shape)), np.empty((2, *swing.shape))
    start[0], start[1] = swing.real, radius * np.cos(angle + 2 * tilt)
    wait[0], wait[1] = np.pi - (angle + tilt), np.pi - (angle + 3 * tilt)  # the load's acceleration leads by two
    wait += _TURN * (wait < 0)
    soon, half_turn = wait < np.pi, np.exp(-decay * np.pi)
    left = size * np.exp(-decay * wait)
    low = np.where(wait <= lasts, -left, np.inf)
    wait += np.where(soon, np.pi, -np.pi)
    left *= np.where(soon, half_turn, 1 / half_turn)
    high = np.where(wait <= lasts, left, -np.inf)
    low, high = np.minimum(start, low), np.maximum(start, high)
    return np.minimum(low[0], low[1]), np.maximum(high[0], high[1])


def _pull_while_backward(
    braking: _Complex, turned: FloatArray, damping: FloatArray, tilt: FloatArray, known: FloatArray, most: FloatArray
) -> FloatArray:
    """Largest pull back while the load already runs backward before the stop, else 0: an upper bound.

    Its speed, over a/w, is what is left of the ramp, w t, less u', which is at most |u|: so only the ramp's end is
    looked at, in steps. As the speed changes by no more than `_FASTEST` with w t, a step near enough to 0 may end in a
    reversal. Nothing is looked for where it can't be more than `known`: the pull after the stop is in that already, and
    none in the ramp is more than `most`.
    """
    found = np.zeros(braking.shape)
    size = np.abs(braking)
    left = np.minimum(size, turned)
    for _ in range(_NARROWINGS):
        left = np.minimum(size * np.exp(-damping * np.maximum(turned - left, 0.0)), turned)
    step = left / _STEPS
    at_end = 1 + size * np.exp(-damping * (turned - left))
    wanted = np.minimum(at_end, most) + np.square(step) / 2 > known
    if not wanted.any():
        return found
    damping, tilt = (np.broadcast_to(each, braking.shape)[wanted] for each in (damping, tilt))
    left, step, turned = left[wanted], step[wanted], turned[wanted]
    root = np.cos(tilt)
    swing = np.empty((_STEPS + 1, left.size), dtype=np.complex128)
    swing[0] = braking[wanted] * _turned_on(turned - left, damping, root)
    swing[1:] = _turned_on(step, damping, root)
    np.multiply.accumulate(swing, axis=0, out=swing)
    along, across = swing.real.copy(), swing.imag.copy()
    speed = left - _DONE * step + damping * along + root * across
    load = np.cos(2 * tilt) * along - np.sin(2 * tilt) * across
    pull = 1 - np.minimum(along, load) + np.square(step) / 2
    found[wanted] = np.where(speed <= _FASTEST * step, pull, 0.0).max(axis=0)
    return found
