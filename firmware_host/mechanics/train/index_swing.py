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


def pulse_swing(shortest: FloatArray, longest: FloatArray, natural: FloatOrArray, damping: FloatOrArray) -> FloatArray:
    """The largest |1 - exp(w p t)| for t from `shortest` to `longest` (s, >= 0): swing of a pulse over that of a jump.

    `natural` > 0 rad/s, 0 <= `damping` < 1; all broadcast. Undamped 2 |sin(w t/2)|. Exact where both times are one;
    else at the least cosine of the phases and at an end of the decay (see `vibration.worst_phasor`), an upper bound.
    """
    root = np.sqrt(1 - np.square(damping))
    most, phase = np.exp(-damping * natural * shortest), natural * root * shortest
    if longest is shortest:
        sine = np.sin(phase / 2)
        return np.asarray(np.sqrt(np.square(1 - most) + 4 * most * np.square(sine)))
    last, fewest = natural * root * longest, np.exp(-damping * natural * longest)
    half_turn = (2 * np.ceil((phase / np.pi - 1) / 2) + 1) * np.pi
    sine = np.where(half_turn <= last, 1.0, np.maximum(np.square(np.sin(phase / 2)), np.square(np.sin(last / 2))))
    squares = [np.square(1 - decay) + 4 * decay * sine for decay in (most, fewest)]
    return np.asarray(np.sqrt(np.maximum(*squares)))


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
    pole, jump = 1j * np.exp(1j * tilt), np.exp(-1j * tilt) / root
    turned, coasted = natural * ramp, natural * cruise
    over_ramp = np.exp(pole * turned)
    cruising = jump * (1 - over_ramp)
    braking = cruising * np.exp(pole * coasted) + jump
    resting = braking * over_ramp - jump
    phases = (
        (1.0, -jump * np.ones_like(over_ramp), turned),
        (0.0, cruising, coasted),
        (-1.0, braking, turned),
        (0.0, resting, np.inf),
    )
    most, least = [], []
    for lead in (0.0, 2 * tilt):  # the load's acceleration leads the spring's pull by twice the tilt
        extremes = [(level, *_extremes(swing * np.exp(1j * lead), lasts, tilt)) for level, swing, lasts in phases]
        least += [level + lowest for level, lowest, _ in extremes]
        most += [level + highest for level, _, highest in extremes] + [-least[-1]]
    most.append(_pull_while_backward(braking, turned, damping, tilt))
    return SwingPeaks(_largest(most), _largest([-low for low in least]))


def _extremes(swing: _Complex, lasts: FloatOrArray, tilt: FloatOrArray) -> tuple[FloatArray, FloatArray]:
    """(lowest, highest) real part of `swing` exp(p x) for x from 0 to `lasts` (w t, the end left out)."""
    phase, root, decay = np.angle(swing) + tilt, np.cos(tilt), np.tan(tilt)
    size, start = np.abs(swing) * root, swing.real
    found = []
    for turned, way in ((np.pi, -1.0), (0.0, 1.0)):
        wait = np.mod(turned - phase, _TURN)
        met = np.where(wait <= lasts * root, way * size * np.exp(-decay * wait), start)
        found.append(np.minimum(start, met) if way < 0 else np.maximum(start, met))
    return found[0], found[1]


def _pull_while_backward(braking: _Complex, turned: FloatArray, damping: FloatArray, tilt: FloatArray) -> FloatArray:
    """Largest pull back while the load already runs backward before the stop, else 0: an upper bound.

    Its speed, over a/w, is what is left of the ramp, w t, less u', which is at most |u|: so only the ramp's end is
    looked at, in steps. As the speed changes by no more than `_FASTEST` with w t, a step near enough to 0 may end in a
    reversal.
    """
    left = np.minimum(np.abs(braking), turned)
    for _ in range(_NARROWINGS):
        left = np.minimum(np.abs(braking) * np.exp(-damping * np.maximum(turned - left, 0.0)), turned)
    pole, step = 1j * np.exp(1j * tilt), left / _STEPS
    swing, lead = braking * np.exp(pole * (turned - left)), np.exp(2j * tilt)
    onward = np.exp(pole * step)
    most = np.zeros_like(left)
    for done in range(_STEPS + 1):
        speed = (left - done * step) - (swing * pole).real
        pull = 1 - np.minimum(swing.real, (swing * lead).real) + np.square(step) / 2
        most = np.where(speed <= _FASTEST * step, np.maximum(most, pull), most)
        swing = swing * onward
    return most


def _largest(values: list[FloatArray]) -> FloatArray:
    largest = values[0]
    for value in values[1:]:
        largest = np.maximum(largest, value)
    return largest
