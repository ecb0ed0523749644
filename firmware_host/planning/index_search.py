"""The search for the quickest index, move and settling, over acceleration and speed at once.

The cost has valleys where a ramp lasts whole natural periods, so a grid finds the valleys and finer ones go down the
deepest of them; every grid is one array.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import LimitExceededError
from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.rollers import Trough, grip_acceleration, normal_at_rest, smallest_normal
from firmware_host.mechanics.vibration import resonant_step_rates
from firmware_host.planning.index_moves import IndexMoves
from firmware_host.planning.index_ringing import index_times, peak_factors, settle_times
from firmware_host.planning.load import LoadCase

DAMPING_RATIO = 0.1
"""Damping ratio of a motor on its magnetic spring where nobody measured it: 0.05 to 0.2, from memory."""

_TABLE = 1024
_BETWEEN = 1e-4  # more than a line between two entries of the table can lie above the electrical model's curve
_SPEEDS = np.concatenate([np.geomspace(1e-4, 1e-2, 12, endpoint=False), np.geomspace(1e-2, 1.0, 96)])
_SHARES = np.geomspace(1e-3, 1.0, 88)
_VALLEYS = 12
_OF_OTHERS = 1e-4  # so little that moves no gate follows only decide where nothing else does
_BEYOND_REACH = 1.12  # a speed limit that no move comes near is the same motion as one just reached
_FINE = np.linspace(-1.0, 1.0, 15)
_LEVELS = 5
_FIRST_HALF_WIDTH = 0.1
_SHRINK = 0.25


def band_margin(load: LoadCase, speed: FloatArray | float) -> tuple[FloatArray, FloatArray]:
    """(margin, nearest edge in full steps/s) of cruising at part `speed` (rad/s) beside the resonant bands.

    The margin is the distance to the nearer edge of the nearest band as a part of that edge; negative inside a band.
    """
    rate = load.step_rate(speed)[..., None] / load.microsteps
    bands = resonant_step_rates(load.natural_frequency, DAMPING_RATIO)
    low, high = bands[:, 0], bands[:, 1]
    above, below = (rate - high) / high, (low - rate) / low
    margin = np.maximum(above, below)
    nearest = margin.argmin(axis=-1)[..., None]
    edge = np.where(above > below, high, low)
    return np.take_along_axis(margin, nearest, -1)[..., 0], np.take_along_axis(edge, nearest, -1)[..., 0]


def speed_caps(load: LoadCase, reserve: float) -> dict[str, float]:
    """Highest part speed (rad/s) by the name of the limit that sets it, with `reserve` of the limit kept."""
    left = 1 - reserve
    per_speed = float(load.step_rate(1.0))
    caps = {
        "step-rate-driver": load.driver_step_rate * left / per_speed,
        "step-rate-controller": load.controller_step_rate * left / per_speed,
    }
    if load.smallest_pulse is not None:
        caps["step-pulse"] = left / (2 * load.smallest_pulse) / per_speed
    return caps


def grip_bounds(trough: Trough, friction: float, imbalance_torque: float, reserve: float) -> tuple[float, float]:
    """Highest part accelerations (rad/s^2, >= 0): that the grip carries, and that keeps both rows pressing.

    `reserve` of the friction coefficient and of each row's normal force at rest is kept.
    """
    grip = grip_acceleration(trough, friction * (1 - reserve), imbalance_torque)
    least = reserve * normal_at_rest(trough.mass, trough.half_angle)
    low, high = 0.0, max(grip_acceleration(trough, 1e6, imbalance_torque), 1e-9)
    if math.isinf(high) or float(smallest_normal(trough, low, imbalance_torque)) < least:
        return grip, high if math.isinf(high) else 0.0
    for _ in range(100):
        middle = (low + high) / 2
        low, high = (
            (middle, high) if float(smallest_normal(trough, middle, imbalance_torque)) >= least else (low, middle)
        )
    return grip, low


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """A motion found: `acceleration` (rad/s^2) and `speed` (rad/s) of the part, `cost`: s of an average index."""

    acceleration: float
    speed: float
    cost: float


class IndexSearch:
    """The quickest pair for `moves` with every limit kept to 1 - `reserve` of itself.

    `top_speed`: the highest part speed (rad/s) that the step rates allow; `reachable_speed`: the highest of them that
    the longest move can reach.
    """

    def __init__(self, load: LoadCase, moves: IndexMoves, reserve: float) -> None:
        self._load = load
        self._moves = moves
        self._left = 1 - reserve
        self._reserve = reserve
        self.top_speed = min(speed_caps(load, reserve).values())
        steady, with_one = load.torque(np.array([0.0, 1.0])).accelerating
        self._steady, self._slope = float(steady), float(with_one - steady)
        self._grip: dict[str, float] = {}
        if load.trough is not None and load.friction is not None:
            grip, seated = grip_bounds(load.trough, load.friction, load.imbalance_torque, reserve)
            self._grip = {"grip": grip, "seating": seated}
        self._speeds, self._pull_out = self._table()
        most = float(self.largest_acceleration(np.zeros(1))[0])
        self.reachable_speed = min(self.top_speed, math.sqrt(max(most, 1e-9) * moves.longest_of_all))

    def _table(self) -> tuple[FloatArray, FloatArray]:
        """Speeds from rest on, and the least pull-out torque on the way to each, with the curve's own corners."""
        load = self._load
        speeds = np.concatenate([np.zeros(1), np.geomspace(1e-5, 1.0, _TABLE) * self.top_speed])
        if load.curve is not None:
            corners = load.curve.speeds * (load.supply_voltage / load.curve.voltage) / load.ratio
            past = corners[-1:] * (1 + 1e-9)  # past its last point the motor has no torque
            speeds = np.unique(np.concatenate([speeds, corners, past]))
            speeds = speeds[speeds <= self.top_speed]
        least = np.minimum.accumulate(load.pull_out(speeds))
        return speeds, least if load.curve is not None else least * (1 - _BETWEEN)

    def pull_out(self, speeds: FloatArray) -> FloatArray:
        """Least pull-out torque (N m at the motor) from rest to each of `speeds` (rad/s of the part)."""
        beyond = speeds > self.top_speed
        torque = np.interp(speeds, self._speeds, self._pull_out)
        return np.where(beyond, self._load.lowest_pull_out(float(speeds.max())), torque) if beyond.any() else torque

    def acceleration_bounds(self, speeds: FloatArray) -> dict[str, FloatArray]:
        """Highest steady part acceleration (rad/s^2, negative if none) at `speeds` (rad/s), by the limit that sets it.

        The torque needed rises linearly with the acceleration, and it is largest while speeding up. The peak depends on
        the ramp's time as well, see `cost`.
        """
        allowed = self.allowed_torque(speeds)
        bounds = {"torque-accelerating": (allowed / self._load.safety_factor - self._steady) / self._slope}
        return bounds | {name: np.full(speeds.shape, bound) for name, bound in self._grip.items()}

    def allowed_torque(self, speeds: FloatArray) -> FloatArray:
        """Peak torque (N m at the motor) that may be asked for up to each of `speeds` (rad/s)."""
        return self.pull_out(speeds) * self._left

    def largest_acceleration(self, speeds: FloatArray) -> FloatArray:
        """The least of `acceleration_bounds` (rad/s^2; not positive where nothing is safe)."""
        return np.asarray(np.min(list(self.acceleration_bounds(speeds).values()), axis=0))

    def cost(self, acceleration: FloatArray, speed: FloatArray, *, beside_bands: bool) -> FloatArray:
        """Seconds that an average index takes with its settling; infinite where a limit is exceeded. They broadcast.

        `beside_bands`: whether to refuse cruising in a resonant band.
        """
        moves = self._moves
        a, v = np.broadcast_arrays(acceleration, speed)
        allowed = (a > 0) & (a <= self.largest_acceleration(v) * (1 + 1e-9))
        a = np.where(a > 0, a, 1.0)
        times = index_times(moves.shortest, moves.longest, moves.mean, a, v)
        allowed &= self.peak_torque(a, v) <= self.allowed_torque(v) * (1 + 1e-9)
        if beside_bands:
            cruises = moves.longest_of_all > v**2 / a
            allowed &= ~cruises | (band_margin(self._load, v)[0] >= self._reserve)
        settling = settle_times(self._load, moves, times, a, v).max(axis=-1)
        others = (times.duration * moves.count * ~moves.gated).sum(axis=-1) / moves.count.sum()
        index = (times.duration * moves.weights).sum(axis=-1) + settling
        return np.where(allowed, index + _OF_OTHERS * others, np.inf)

    def peak_torque(self, acceleration: FloatArray, speed: FloatArray) -> FloatArray:
        """Largest torque (N m at the motor) of any of the moves with its ringing in the worst phase."""
        moves = self._moves
        times = index_times(moves.shortest, moves.longest, moves.mean, acceleration, speed)
        factors = peak_factors(self._load, times)
        pushing = self._load.torque(factors.accelerating.max(axis=-1) * acceleration).accelerating
        holding = self._load.torque(factors.braking.max(axis=-1) * acceleration).braking
        return np.maximum(pushing, holding)

    @property
    def acceleration_limits(self) -> frozenset[str]:
        """Names of the limits that bound the acceleration."""
        return frozenset({"torque-accelerating", "torque-peak", *self._grip})

    def shares(self, pair: Pair) -> dict[str, float]:
        """How much of each limit, its reserve kept, a pair uses up: 1 at the limit."""
        v, a = np.array([pair.speed]), np.array([pair.acceleration])
        caps = {name: pair.speed / cap for name, cap in speed_caps(self._load, self._reserve).items()}
        allowed = float(self.allowed_torque(v)[0])
        steady = self._load.safety_factor * float(self._load.torque(a).accelerating[0])
        torques = {"torque-accelerating": steady / allowed, "torque-peak": float(self.peak_torque(a, v)[0]) / allowed}
        grips = {name: pair.acceleration / bound for name, bound in self._grip.items() if bound > 0}
        return caps | torques | grips

    def best(self, acceleration: float | None, speed: float | None) -> Pair:
        """The pair of least cost; a given `acceleration` (rad/s^2) or `speed` (rad/s) is kept.

        Cruising in a resonant band is avoided where it can be. `LimitExceededError` where nothing is safe.
        """
        for beside_bands in (True, False):
            found = self._descend(acceleration, speed, beside_bands)
            if found is not None:
                return found
        raise self._nothing_safe(acceleration, speed)

    def _descend(self, acceleration: float | None, speed: float | None, beside_bands: bool) -> Pair | None:
        speeds = _SPEEDS * self.reachable_speed if speed is None else np.array([speed])
        shares = _SHARES if acceleration is None else np.ones(1)
        a, grid_v = self._motion(speeds[:, None], shares[None, :], acceleration)
        cost = self.cost(a, grid_v, beside_bands=beside_bands)
        if speed is None:
            out_of_reach = grid_v > _BEYOND_REACH * np.sqrt(np.maximum(a, 0.0) * self._moves.longest_of_all)
            cost = np.where(out_of_reach, np.inf, cost)
        valleys = _valleys(cost)
        if valleys.size == 0:
            return None
        v, f = speeds[valleys[:, 0]], shares[valleys[:, 1]]
        width = _FIRST_HALF_WIDTH
        for _ in range(_LEVELS):
            zoom_v = (v[:, None] * (1 + width * _FINE))[:, :, None] if speed is None else v[:, None, None]
            zoom_f = np.minimum(f[:, None] * (1 + width * _FINE), 1.0) if acceleration is None else f[:, None]
            a, grid_v = self._motion(
                np.minimum(zoom_v, max(self.top_speed, speed or 0.0)), zoom_f[:, None, :], acceleration
            )
            cost = self.cost(a, grid_v, beside_bands=beside_bands).reshape(v.size, -1)
            best = cost.argmin(axis=1)
            shape = np.broadcast_shapes(grid_v.shape, zoom_f[:, None, :].shape)
            rows = np.arange(v.size)
            v = np.broadcast_to(grid_v, shape).reshape(v.size, -1)[rows, best]
            f = np.broadcast_to(zoom_f[:, None, :], shape).reshape(v.size, -1)[rows, best]
            width *= _SHRINK
        lowest = cost[rows, best]
        k = int(lowest.argmin())
        a, grid_v = self._motion(v[k : k + 1], f[k : k + 1], acceleration)
        return Pair(float(a[0]), float(grid_v[0]), float(lowest[k]))

    def _motion(
        self, speed: FloatArray, share: FloatArray, acceleration: float | None
    ) -> tuple[FloatArray, FloatArray]:
        """Acceleration as a `share` of the largest steady one at `speed`, or the kept one; and the speed."""
        if acceleration is not None:
            return np.full(np.broadcast_shapes(speed.shape, share.shape), acceleration), speed
        return self.largest_acceleration(speed) * share, speed

    def _nothing_safe(self, acceleration: float | None, speed: float | None) -> LimitExceededError:
        speeds = _SPEEDS * self.reachable_speed if speed is None else np.array([speed])
        wanted = acceleration or 0.0
        bounds = {name: float(bound.max()) for name, bound in self.acceleration_bounds(speeds).items()}
        peak = (self.allowed_torque(speeds) - self._steady) / self._slope / 4
        short = {name: most for name, most in bounds.items() if most <= wanted}
        if not short:
            short = {"torque-peak": float(peak.max())}
        details = tuple(
            f"{name}: wanted more than {wanted:.4g} rad/s^2 of the part, at most {max(most, 0.0):.4g} rad/s^2 is safe"
            for name, most in short.items()
        )
        return LimitExceededError(tuple(short), details)


def _valleys(cost: FloatArray) -> NDArray[np.intp]:
    """Row and column of the deepest local minima of a grid, shape (k, 2), k <= 12; none where all is infinite."""
    padded = np.pad(cost, 1, constant_values=np.inf)
    lowest = np.min([padded[1:-1, :-2], padded[1:-1, 2:], padded[:-2, 1:-1], padded[2:, 1:-1]], axis=0)
    places = np.argwhere(np.isfinite(cost) & (cost <= lowest))
    order = np.argsort(cost[places[:, 0], places[:, 1]], kind="stable")
    return places[order[:_VALLEYS]]
