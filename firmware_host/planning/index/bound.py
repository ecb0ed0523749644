"""How much quicker an index could be if the acceleration followed the torque at every speed: a bound for anyone.

Phase plane: at each speed the largest steady acceleration there, on the way up and on the way down. No controller with
one stored acceleration reaches it; the distance to it says what such a controller costs.
"""

from __future__ import annotations

import numpy as np

from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.index.allowed import Allowed, least
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.load.case import LoadCase

_POINTS = 6001


def move_bound(load: LoadCase, lengths: FloatArray, *, reserve: float) -> FloatArray:
    """Least seconds from rest to rest over `lengths` (rad, > 0, shape (n,)), shape (n,), ringing left out.

    T = integral dv/a_up + integral dv/a_down + what is left of the length at the highest speed reached, from
    s = integral v dv/a (Newton's law in the phase plane). Every limit keeps `reserve` of itself: step rates, supply,
    steady torque with the safety factor, steady grip. Needs a motor of known torque; infinite where it can't move the
    load at all.
    """
    allowed = Allowed.of(all_limits(), [load], reserve)
    speeds = _speeds(load, float(lengths.max()), allowed)
    up, down = _largest_accelerations(load, speeds, allowed)
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


def _speeds(load: LoadCase, longest: float, allowed: Allowed) -> FloatArray:
    """Speeds from rest to the cap, or past what the longest index could reach; the curve's corners among them."""
    still, _ = _largest_accelerations(load, np.zeros(1), allowed)
    reach = 1.5 * float(np.sqrt(max(float(still[0]), 1e-12) * longest))
    speeds = np.linspace(0.0, min(allowed.top_speed, reach), _POINTS)
    corners = load.pull_out_corners
    return np.union1d(speeds, corners[corners < speeds[-1]]) if corners.size else speeds


def _largest_accelerations(load: LoadCase, speeds: FloatArray, allowed: Allowed) -> tuple[FloatArray, FloatArray]:
    """Largest steady accelerations (rad/s^2) to speed up and to brake at each of `speeds` (part rad/s)."""
    pull_out = load.pull_out(speeds)
    return least(allowed.steady(speeds, pull_out), speeds), least(allowed.braking(speeds, pull_out), speeds)


def _cumulative(integrand: FloatArray, v: FloatArray) -> FloatArray:
    """Integral from the first point on, shape as `v`, by trapezoids."""
    parts = (integrand[1:] + integrand[:-1]) / 2 * np.diff(v)
    return np.concatenate([np.zeros(1), np.cumsum(parts)])
