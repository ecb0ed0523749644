"""The two equations of a rotor and its load, integrated in time: one machine, or many at once.

Leapfrog (velocity Verlet: places at whole steps of time, speeds at the halves), of second order; damping by the mean of
the speeds before and after; dry friction takes from a speed no more than there is, so that what stands sticks. Checked
against SciPy's `solve_ivp` and closed forms in `tests/simulator/true_machine`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from firmware_host.simulator.true_machine.rotor import Rotor


class State(NamedTuple):
    """Places (rad) and speeds (rad/s) of rotor and load at the motor: numbers, or arrays of many machines."""

    rotor: Any
    load: Any
    rotor_speed: Any
    load_speed: Any

    def turned(self, by: float) -> State:
        """The same, `by` rad farther on."""
        return self._replace(rotor=self.rotor + by, load=self.load + by)


class Coefficients(NamedTuple):
    """What one step of time needs of a rotor: numbers, or arrays of one shape."""

    teeth: Any
    spring: Any
    damping: Any
    train_damping: Any
    by_rotor: Any
    by_load: Any
    friction: Any
    imbalance: Any
    turns: Any
    step: Any


class _Ops(NamedTuple):
    sin: Callable[[Any], Any]
    cos: Callable[[Any], Any]
    least: Callable[[Any, Any], Any]
    most: Callable[[Any, Any], Any]


_NUMBERS = _Ops(math.sin, math.cos, min, max)
_ARRAYS = _Ops(np.sin, np.cos, np.minimum, np.maximum)


def coefficients(rotor: Rotor, step: float) -> Coefficients:
    """Of one rotor, for steps of `step` s."""
    return Coefficients(
        float(rotor.teeth),
        rotor.spring,
        rotor.damping,
        rotor.train_damping,
        step / (2 * rotor.rotor_inertia),
        step / (2 * rotor.load_inertia),
        rotor.friction,
        rotor.imbalance,
        rotor.turns,
        step,
    )


def of_many(each: list[Coefficients]) -> Coefficients:
    """Those of many rotors, as columns of shape (rotors, 1): for any number of repeats of each."""
    return Coefficients(*(np.array(values, dtype=np.float64)[:, None] for values in zip(*each, strict=True)))


def advance(state: State, field: Any, speed: Any, peak: Any, of: Coefficients, *, many: bool = False) -> State:
    """One step of time: speeds by the forces at the places that hold now, then places by those speeds.

    `field` rad and `speed` rad/s of the field, `peak` N m of the torque at that speed; `many`: arrays.
    """
    ops = _ARRAYS if many else _NUMBERS
    x, y, v, w = state
    angle = of.teeth * (field - x)
    twist = of.spring * (x - y)
    own = of.damping * ops.most(ops.cos(angle), 0.0)
    pulls = peak * ops.sin(angle) + own * speed - twist
    turns = twist - of.imbalance * ops.sin(y / of.turns)
    a, b, d = of.by_rotor, of.by_load, of.train_damping
    rotor, load = a * (own + d), b * d
    v_wanted = v * (1 - rotor) + a * (d * w + 2 * pulls)
    w_wanted = w * (1 - load) + b * (d * v + 2 * turns)
    share = 1 / ((1 + rotor) * (1 + load) - a * d * load)
    v = (v_wanted * (1 + load) + a * d * w_wanted) * share
    w = (w_wanted * (1 + rotor) + load * v_wanted) * share
    stuck = 2 * b * of.friction
    w = w - ops.most(ops.least(w, stuck), -stuck)
    return State(x + of.step * v, y + of.step * w, v, w)


def standing(place: float) -> State:
    """Rotor and load at a standstill at `place` (rad of the motor)."""
    return State(place, place, 0.0, 0.0)


def moved(rotor: Rotor, state: State, places: Any, rates: Any, step: float) -> State:
    """Through a move of the field: `places` (rad) and `rates` (rad/s) at steps of `step` s, arrays of shape (n,)."""
    of = coefficients(rotor, step)
    peaks = rotor.peak(rates).tolist()
    for place, rate, peak in zip(places.tolist(), rates.tolist(), peaks, strict=True):
        state = advance(state, place, rate, peak, of)
    return state


def swung(rotor: Rotor, state: State, place: float, lasts: float) -> State:
    """Swing about a field that stands at `place` (rad), for `lasts` s or until nothing moves any more."""
    of, peak = coefficients(rotor, rotor.step), rotor.standing_torque
    for number in range(math.ceil(lasts / rotor.step)):
        if number % _LOOK == 0 and _stands(state, place, of, peak):
            break
        state = advance(state, place, 0.0, peak, of)
    return state


def filmed(rotor: Rotor, state: State, place: float, every: float, pictures: int) -> list[float]:
    """Where the load stands (rad) in so many pictures, one `every` s, as it swings about a field at `place`."""
    parts = max(1, math.ceil(every / rotor.step))
    of, peak, seen = coefficients(rotor, every / parts), rotor.standing_torque, []
    for _ in range(pictures):
        seen.append(float(state.load))
        for _ in range(parts):
            state = advance(state, place, 0.0, peak, of)
    return seen


_LOOK = 16


def _stands(state: State, place: float, of: Coefficients, peak: float) -> bool:
    """Whether friction holds the load, and the rotor does not swing: nothing would move any more."""
    angle = of.teeth * (place - state.rotor)
    pull = peak * math.sin(angle) - of.spring * (state.rotor - state.load)
    calm = 1e-4 * peak
    return bool(
        abs(pull) < calm
        and abs(state.rotor_speed) * of.teeth < 0.01
        and abs(of.spring * (state.rotor - state.load)) <= of.friction + calm
        and abs(state.load_speed) * of.teeth < 0.01
        and math.cos(angle) > 0
    )
