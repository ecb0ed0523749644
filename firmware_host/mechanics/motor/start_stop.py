"""How large a step of speed a rotor follows from a standstill: its start-stop rate.

SI at the motor: torques N m, inertias kg m^2, speeds rad/s. A field that turns on at once with speed v leaves the rotor
behind; with the lag e, J e'' = T_load - T sin(p e), e' = v at the start.
"""

from __future__ import annotations

import math

import numpy as np

from firmware_host.mechanics.guard import FloatArray, FloatOrArray, require_not_negative, require_positive


def start_stop_speed(
    rotor_teeth: int, torque: FloatOrArray, inertia: float, load: FloatOrArray, off: FloatOrArray
) -> FloatArray:
    """Largest step of speed (rad/s, >= 0) that the rotor follows; 0 where it can't bear the load.

    `torque` > 0: what the motor gives at most at that speed; `inertia` > 0: rotor and reflected load; `load` >= 0:
    what holds it back meanwhile, friction and the inertia's own J a of a ramp that follows; they broadcast. `off` (rad,
    >= 0): how far from the commanded place it may stand at the start, behind it or, which is worse, ahead.

    Conservation of energy from the start to where the torque is no more than the load, undamped:
    J v^2/2 = (T/p) (cos(p off) + cos(s)) - T_load ((pi - s)/p + off), s = asin(T_load/T). Without load, and on its
    place, it is 2 sqrt(T/(p J)): two natural frequencies over p. Checked against the equation of motion, integrated
    with SciPy.
    """
    require_positive("rotor teeth", float(rotor_teeth))
    require_positive("inertia", inertia, "kg m^2")
    load = require_not_negative("load", load, "N m")
    ahead = rotor_teeth * require_not_negative("distance from its place", off, "rad")
    torque = np.asarray(torque, dtype=np.float64)
    bears = (torque > 0) & (load < torque)
    most = np.where(bears, torque, 1.0)
    turned = np.arcsin(np.where(bears, load / most, 0.0))
    room = (most * (np.cos(ahead) + np.cos(turned)) - load * (math.pi - turned + ahead)) / rotor_teeth
    follows = bears & (ahead < math.pi / 2) & (room > 0)
    return np.sqrt(np.where(follows, 2 * room / inertia, 0.0))


def start_stop_rate_with_load(bare_rate: float, rotor_inertia: float, load_inertia: float) -> float:
    """F = f_s/sqrt(1 + J_L/J_M): start-stop rate with a load's reflected inertia J_L >= 0, from the bare motor's f_s.

    In the unit of `bare_rate` (> 0, full steps/s); `rotor_inertia` J_M > 0. Oriental Motor, General Catalog, Technical
    Reference, from memory; it is what the energy above says of two inertias.
    """
    require_positive("start-stop rate", bare_rate, "steps/s")
    require_positive("rotor inertia", rotor_inertia, "kg m^2")
    ratio = require_not_negative("load inertia", load_inertia, "kg m^2") / rotor_inertia
    return bare_rate / math.sqrt(1 + float(ratio))


def jump_swing(natural: FloatOrArray, jump: FloatOrArray) -> FloatArray:
    """Acceleration w v (rad/s^2) that a step of speed v (rad/s, >= 0) swings an oscillator of w (rad/s) with, at most.

    Its lag rings with v/w (impulse response of e'' + w^2 e = 0, undamped), and w^2 times that is its acceleration.
    """
    return np.asarray(natural) * require_not_negative("step of speed", jump, "rad/s")
