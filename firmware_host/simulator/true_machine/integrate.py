"""The two equations of a rotor and its load, integrated in time: one machine, or many at once.

Leapfrog (velocity Verlet: places at whole steps of time, speeds at the halves), of second order; damping by the mean of
the speeds before and after; dry friction takes from a speed no more than there is, so that what stands sticks. Checked
against SciPy's `solve_ivp` and closed forms in `tests/simulator/true_machine`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from itertools import repeat
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


def advance(state: State, steps: Iterable[tuple[Any, Any, Any]], of: Coefficients, *, many: bool = False) -> State:
    """Through steps of time: speeds by the forces at the places that hold, then places by those speeds.

    Each step is what the field does: its place (rad), its speed (rad/s), and the peak of the torque (N m) at that
    speed; `many`: arrays.
    """
    sin, cos, least, most = _ARRAYS if many else _NUMBERS
    x, y, v, w = state
    teeth, spring, damping, train_damping, a, b, friction, imbalance, per_turn, step = of
    to_load, stuck = b * train_damping, 2 * b * friction
    for field, speed, peak in steps:
        angle = teeth * (field - x)
        twist = spring * (x - y)
        own = damping * most(cos(angle), 0.0)
        to_rotor = a * (own + train_damping)
        across = a * train_damping
        pulls = peak * sin(angle) + own * speed - twist
        turns = twist - imbalance * sin(y / per_turn)
        v_wanted = v * (1 - to_rotor) + a * (train_damping * w + 2 * pulls)
        w_wanted = w * (1 - to_load) + b * (train_damping * v + 2 * turns)
        share = 1 / ((1 + to_rotor) * (1 + to_load) - across * to_load)
        v = (v_wanted * (1 + to_load) + across * w_wanted) * share
        w = (w_wanted * (1 + to_rotor) + to_load * v_wanted) * share
        w = w - most(least(w, stuck), -stuck)
        x = x + step * v
        y = y + step * w
    return State(x, y, v, w)


def standing(place: float) -> State:
    """Rotor and load at a standstill at `place` (rad of the motor)."""
    return State(place, place, 0.0, 0.0)


def moved(rotor: Rotor, state: State, places: Any, rates: Any, step: float) -> State:
    """Through a move of the field: `places` (rad) and `rates` (rad/s) at steps of `step` s, arrays of shape (n,)."""
    of = coefficients(rotor, step)
    peaks = rotor.peak(rates).tolist()
    return advance(state, zip(places.tolist(), rates.tolist(), peaks, strict=True), of)


def swung(rotor: Rotor, state: State, place: float, lasts: float) -> State:
    """Swing about a field that stands at `place` (rad), for `lasts` s or until nothing moves any more."""
    of, peak = coefficients(rotor, rotor.step), rotor.standing_torque
    left = math.ceil(lasts / rotor.step)
    while left > 0 and not _stands(state, place, of, peak):
        state = advance(state, repeat((place, 0.0, peak), min(left, _LOOK)), of)
        left -= _LOOK
    return state


def filmed(rotor: Rotor, state: State, place: float, every: float, pictures: int) -> list[float]:
    """Where the load stands (rad) in so many pictures, one `every` s, as it swings about a field at `place`."""
    parts = max(1, math.ceil(every / rotor.step))
    of, peak, seen = coefficients(rotor, every / parts), rotor.standing_torque, []
    for _ in range(pictures):
        seen.append(float(state.load))
        state = advance(state, repeat((place, 0.0, peak), parts), of)
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
