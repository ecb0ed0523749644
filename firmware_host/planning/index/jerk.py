"""The quickest index of a controller that limits the jerk: seven phases instead of three.

An acceleration that rises over a whole natural period hardly rings at all, so more of the motor's torque can be used
and less has to be waited for. For comparison: the dialects known here ramp at one constant acceleration.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firmware_host.errors import LimitExceededError
from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.train.jerk_profile import JerkLimitedMove, plan_jerk_limited
from firmware_host.mechanics.train.vibration import FrequencyBand, settle_time, worst_phasor
from firmware_host.planning.index.caps import band_margin
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.index.ringing import LEAST_DAMPING, MOST_DAMPING, IndexTiming, half_microstep, natural_band
from firmware_host.planning.index.search import IndexSearch
from firmware_host.planning.load.case import LoadCase

_PERIODS = np.array([0.5, 1.0, 1.5, 2.0])
_SHARES = np.geomspace(0.05, 1.0, 48)
_SPEEDS = np.geomspace(0.01, 1.0, 64)
_FINE = np.linspace(0.9, 1.1, 21)


@dataclass(frozen=True, slots=True)
class JerkLimitedMotion:
    """`acceleration` rad/s^2, `speed` rad/s and `jerk` rad/s^3 of the part, and what the indexes take."""

    acceleration: float
    speed: float
    jerk: float
    timing: IndexTiming


def jerk_limited_motion(load: LoadCase, moves: IndexMoves, *, reserve: float) -> JerkLimitedMotion:
    """The quickest acceleration, speed and jerk for `moves` with `reserve` of every limit kept; `LimitExceededError`.

    The jerk phases last 1/2, 1, 3/2 or 2 natural periods; the limits and what counts as quickest are those of
    `safe_motion.motion_for`.
    """
    search = IndexSearch(load, moves, reserve)
    speeds = _SPEEDS * search.reachable_speed
    jerk_times = _PERIODS * 2 * math.pi / load.natural_frequency
    v, f, t = (axis.ravel() for axis in np.meshgrid(speeds, _SHARES, jerk_times, indexing="ij"))
    for _ in range(3):
        a = search.steady_acceleration(v) * f
        cost = _cost(load, moves, search, reserve, a, v, t)
        best = int(cost.argmin())
        if not math.isfinite(cost[best]):
            raise LimitExceededError(("torque-peak",), ("no jerk-limited motion keeps every limit",))
        chosen = float(a[best]), float(v[best]), float(t[best])
        near = np.meshgrid(
            np.minimum(v[best] * _FINE, search.top_speed), np.minimum(f[best] * _FINE, 1.0), indexing="ij"
        )
        v, f = (axis.ravel() for axis in near)
        t = np.full(v.shape, chosen[2])
    acceleration, speed, jerk_time = chosen
    move = plan_jerk_limited(moves.mean, speed, acceleration, acceleration / jerk_time)
    settle = _settle(load, moves, speed, np.array(acceleration), np.array(acceleration / jerk_time))
    mean = float((move.duration * moves.weights).sum())
    return JerkLimitedMotion(acceleration, speed, acceleration / jerk_time, IndexTiming(mean, float(settle)))


def _cost(
    load: LoadCase, moves: IndexMoves, search: IndexSearch, reserve: float, a: FloatArray, v: FloatArray, t: FloatArray
) -> FloatArray:
    """Seconds of an average index with its settling, shape (n,); infinite where a limit is exceeded."""
    usable = a > 0
    a = np.where(usable, a, 1.0)
    jerk = a / t
    mean = plan_jerk_limited(moves.mean, v[:, None], a[:, None], jerk[:, None])
    pushing, holding = _peaks(load, moves, v, a, jerk)
    up, down = pushing * a, holding * a
    usable &= (search.peak_torque(up, down) <= search.allowed_torque(v)) & search.grip.bear(up, down)
    cruising = (mean.cruise_time > 0).any(axis=-1)
    usable &= ~cruising | (band_margin(load, v)[0] >= reserve)
    total = (mean.duration * moves.weights).sum(axis=-1) + _settle(load, moves, v, a, jerk)
    return np.where(usable, total, np.inf)


def _ends(
    moves: IndexMoves, v: FloatArray | float, a: FloatArray, jerk: FloatArray
) -> tuple[JerkLimitedMove, JerkLimitedMove]:
    """The shortest and the longest move of every group, shape (..., groups)."""
    limits = (np.asarray(v)[..., None], a[..., None], jerk[..., None])
    return plan_jerk_limited(moves.shortest, *limits), plan_jerk_limited(moves.longest, *limits)


def _boxes(short: JerkLimitedMove, long: JerkLimitedMove, band: FrequencyBand, zeta: float) -> list[FloatArray]:
    """Worst |1 - z| of the three pulses that make the profile: one jerk phase, half a ramp, and all until braking."""
    lengths = (
        (short.jerk_time, long.jerk_time),
        (short.jerk_time + short.steady_time, long.jerk_time + long.steady_time),
        (short.ramp_time + short.cruise_time, long.ramp_time + long.cruise_time),
    )
    return [worst_phasor(1.0, np.minimum(low, high), np.maximum(low, high), band, zeta) for low, high in lengths]


def _settle(load: LoadCase, moves: IndexMoves, v: FloatArray | float, a: FloatArray, jerk: FloatArray) -> FloatArray:
    """The longest settling of the gated groups (s), shape (...).

    A jump of the jerk rings by (j/w^3)/sqrt(1 - zeta^2); eight of them make three factors |1 - z| (the profile is three
    pulses folded into one another).
    """
    band, worst = natural_band(load), np.zeros(a.shape)
    short, long = _ends(moves, v, a, jerk)
    for zeta in (LEAST_DAMPING, MOST_DAMPING):
        first, second, third = _boxes(short, long, band, zeta)
        amplitude = long.jerk * first * second * third / (band.lowest**3 * math.sqrt(1 - zeta**2))
        settle = settle_time(amplitude, half_microstep(load), zeta, band.lowest)
        worst = np.maximum(worst, np.where(moves.gated, settle, 0.0).max(axis=-1))
    return worst


def _peaks(
    load: LoadCase, moves: IndexMoves, v: FloatArray, a: FloatArray, jerk: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Peak over `a`'s steady torque, pushing and holding, shape (...): a jerk phase rings by |1 - z|/(w t_j) of it."""
    band = natural_band(load)
    short, long = _ends(moves, v, a, jerk)
    first, second, third = _boxes(short, long, band, LEAST_DAMPING)
    ring = jerk[..., None] * first / (band.lowest * a[..., None])
    reached = long.peak_acceleration / a[..., None]
    pushing = np.maximum(reached + ring, ring * second * third)
    return pushing.max(axis=-1), (reached + ring * (1 + second)).max(axis=-1)
