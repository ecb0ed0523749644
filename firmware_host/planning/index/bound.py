"""How much quicker an index could be if the acceleration followed the torque at every speed: a bound for anyone.

Phase plane: at each speed the largest steady acceleration there, on the way up and on the way down. No controller with
one stored acceleration reaches it; the distance to it says what such a controller costs.
"""

from __future__ import annotations

import numpy as np

from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.index.caps import GripCaps, speed_caps, supplied_torque
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.load.case import LoadCase

_POINTS = 6001
_HALVINGS = 60


def move_bound(load: LoadCase, lengths: FloatArray, *, reserve: float) -> FloatArray:
    """Least seconds from rest to rest over `lengths` (rad, > 0, shape (n,)), shape (n,), ringing left out.

    T = integral dv/a_up + integral dv/a_down + what is left of the length at the highest speed reached, from
    s = integral v dv/a (Newton's law in the phase plane). Every limit keeps `reserve` of itself: step rates, supply,
    steady torque with the safety factor, steady grip. Needs a motor of known torque; infinite where it can't move the
    load at all.
    """
    speeds = _speeds(load, float(lengths.max()), reserve)
    up, down = _largest_accelerations(load, speeds, reserve)
    stuck = np.flatnonzero(up <= 0)
    last = int(stuck[0]) if stuck.size else speeds.size
    if last < 2:
        return np.full(lengths.shape, np.inf)
    v, up, down = speeds[:last], up[:last], down[:last]
    time = _cumulative(1 / up + 1 / down, v)
    way = _cumulative(v / up + v / down, v)
    reached = np.interp(lengths, way, v)
    ramps = np.interp(reached, v, time)
    left = np.maximum(lengths - np.interp(reached, v, way), 0.0)
    return ramps + left / reached


def mean_bound(load: LoadCase, moves: IndexMoves, *, reserve: float) -> float:
    """`move_bound` of an average index that a gate follows, s."""
    counted = moves.weights > 0
    return float((move_bound(load, moves.mean[counted], reserve=reserve) * moves.weights[counted]).sum())


def _speeds(load: LoadCase, longest: float, reserve: float) -> FloatArray:
    """Speeds from rest to the cap, or past what the longest index could reach; the curve's corners among them."""
    top = min(speed_caps(load, reserve).values())
    at_rest, _ = _largest_accelerations(load, np.zeros(1), reserve)
    reach = 1.5 * float(np.sqrt(max(float(at_rest[0]), 1e-12) * longest))
    speeds = np.linspace(0.0, min(top, reach), _POINTS)
    if load.curve is not None:
        corners = load.curve.speeds * (load.supply_voltage / load.curve.voltage) / load.ratio
        speeds = np.union1d(speeds, corners[corners < speeds[-1]])
    return speeds


def _largest_accelerations(load: LoadCase, speeds: FloatArray, reserve: float) -> tuple[FloatArray, FloatArray]:
    """Largest steady accelerations (rad/s^2) to speed up and to brake at each of `speeds` (part rad/s)."""
    allowed = load.pull_out(speeds) * (1 - reserve) / load.safety_factor
    steady, with_one = load.torque(np.array([0.0, 1.0])).accelerating
    up = (allowed - steady) / (with_one - steady)
    low, high = np.zeros_like(speeds), np.maximum(2 * up, 0.0) + 1.0
    while (growing := load.torque(high).braking <= allowed).any():
        high = np.where(growing, 2 * high, high)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        fits = load.torque(middle).braking <= allowed
        low, high = np.where(fits, middle, low), np.where(fits, high, middle)
    down = np.maximum(low, up)
    supplied = supplied_torque(load, speeds, reserve)
    if supplied is not None:
        up = np.minimum(up, (supplied - steady) / (with_one - steady))
    held = min(GripCaps.of(load, reserve).steady.values(), default=np.inf)
    up, down = np.minimum(up, held), np.minimum(down, held)
    return up, down


def _cumulative(integrand: FloatArray, v: FloatArray) -> FloatArray:
    """Integral from the first point on, shape as `v`, by trapezoids."""
    parts = (integrand[1:] + integrand[:-1]) / 2 * np.diff(v)
    return np.concatenate([np.zeros(1), np.cumsum(parts)])
