"""What holds a rotor off its commanded place at standstill, and how that changes from one angle of the part to another.

SI: torques N m, angles rad. Gravity on an imbalance changes with the angle of the part; friction and the losses of the
gearing may act either way, for nobody knows how the rotor came to a standstill.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from firmware_host.mechanics.guard import (
    FloatArray,
    FloatOrArray,
    require_at_most,
    require_not_negative,
    require_positive,
)
from firmware_host.mechanics.motor.torque import static_lag

_ANGLES = np.linspace(0.0, math.pi, 361)


@dataclass(frozen=True, slots=True)
class AtStandstill:
    """A part that its motor holds at a standstill. At the part's axis: `gravity` m g e and `friction`, N m, >= 0.

    `ratio` motor turns per part turn, > 0; `efficiency` of all stages, 0 to 1; `holding_torque` N m, > 0: the motor's
    static torque at the standstill current; `rotor_teeth` p.
    """

    gravity: FloatOrArray
    friction: FloatOrArray
    ratio: FloatOrArray
    efficiency: FloatOrArray
    holding_torque: float
    rotor_teeth: int

    def __post_init__(self) -> None:
        require_not_negative("gravity torque", self.gravity, "N m")
        require_not_negative("friction torque", self.friction, "N m")
        require_positive("ratio", self.ratio)
        require_positive("efficiency", self.efficiency)
        require_at_most("efficiency", self.efficiency, 1.0)
        require_positive("holding torque", self.holding_torque, "N m")
        require_positive("rotor teeth", float(self.rotor_teeth))


def torque_at_standstill(
    load_torque: FloatOrArray, ratio: FloatOrArray, efficiency: FloatOrArray
) -> tuple[FloatArray, FloatArray]:
    """(least, most) torque (N m at the motor) that a standing gearing lets through of a `load_torque` (N m, signed).

    Loss-free it is T/ratio. What the gearing loses, |T|(1/efficiency - 1)/ratio, is friction: at a standstill it may
    help to hold (gravity reduced), or have to be overcome as the motor pulls the load towards its place (gravity
    raised, to T/(ratio efficiency)). That losses are as large either way: common practice, no source.
    """
    torque = np.asarray(load_torque, dtype=np.float64)
    lost = np.abs(torque) * (1 / require_positive("efficiency", efficiency) - 1)
    return (torque - lost) / ratio, (torque + lost) / ratio


def largest_lag_change(rest: AtStandstill, apart: FloatOrArray) -> FloatArray:
    """Most (rad of the part, >= 0) that the lag at standstill differs between two angles `apart` (rad) of the part.

    The lag is asin(T/T_hold)/p at the motor. Where the imbalance points is not known: the worst of all angles counts,
    about the horizontal for a light load, where T changes fastest, by 2 m g e sin(apart/2). Beyond T_hold the motor
    lets go; the lag counts there as at T_hold, a quarter of an electrical turn, which is too little. Half a turn of
    first angles is enough, from -apart/2 on: turned about it, a load is that of the other stop, the other way. Source:
    the torque-angle curve T = T_hold sin(p e), as `static_lag`. Figures of `rest` broadcast with `apart`.
    """
    figures = (rest.gravity, rest.friction, rest.ratio, rest.efficiency)
    between = np.broadcast_arrays(np.asarray(apart, dtype=np.float64), *figures)[0]
    first = _ANGLES.reshape((-1,) + (1,) * between.ndim) - between / 2
    change: FloatArray = (_most_lag(rest, first + between) + _most_lag(rest, -first)).max(axis=0)
    return change


def largest_load_change(rest: AtStandstill, apart: FloatOrArray) -> FloatArray:
    """Most (N m at the part, >= 0) that the load differs between two stops `apart` (rad): 2 m g e sin(apart/2) + 2 T_f.

    Gravity at the worst angle of the imbalance, friction T_f one way at one stop and the other way at the other. Over
    the stiffness of a belt or coupling it is what that twists. Source: difference of two sines.
    """
    between = np.asarray(apart, dtype=np.float64)
    change: FloatArray = 2 * rest.gravity * np.abs(np.sin(between / 2)) + 2 * rest.friction
    return change


def friction_lag(rest: AtStandstill) -> FloatArray:
    """How far (rad of the part, >= 0) friction alone may hold the part off its place, either way: asin(T/T_hold)/p."""
    return _lag(rest, torque_at_standstill(rest.friction, rest.ratio, rest.efficiency)[1])


def largest_torque_at_standstill(rest: AtStandstill) -> FloatArray:
    """Most torque (N m at the motor) that gravity and friction together ask of it at a standstill, at any angle."""
    _, most = torque_at_standstill(rest.gravity + rest.friction, rest.ratio, rest.efficiency)
    return most


def _most_lag(rest: AtStandstill, angle: FloatArray) -> FloatArray:
    """The most lag of the part (rad) with the imbalance at `angle` from straight down, rad.

    The least of the load turned about, the other way, is as much: every load has its like in the other direction.
    """
    gravity = rest.gravity * np.sin(angle)
    ends = (gravity - rest.friction, gravity + rest.friction) if np.any(rest.friction) else (gravity,)
    # Where a gear locks itself, the larger load may leave less for the motor: both ends are looked at.
    torques = (torque_at_standstill(load, rest.ratio, rest.efficiency)[1] for load in ends)
    return _lag(rest, functools.reduce(np.maximum, torques))


def _lag(rest: AtStandstill, torque: FloatArray) -> FloatArray:
    """Lag of the part (rad) while its motor makes `torque` (N m)."""
    limit = rest.holding_torque
    return static_lag(np.clip(torque, -limit, limit), limit, rest.rotor_teeth) / rest.ratio
