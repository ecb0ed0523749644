"""The search for the quickest index, move and settling, over acceleration and speed at once.

The cost has valleys where a ramp lasts whole natural periods, so a grid finds the valleys and finer ones go down the
deepest of them; every grid is one array.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import LimitExceededError
from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.index.allowed import Allowed, least
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.index.ringing import WORST_PEAK, IndexTimes, index_times, peak_factors, settle_times
from firmware_host.planning.limits.limit import SUDDEN_PEAK, Limit
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.load.case import LoadCase

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


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """A motion found: `acceleration` (rad/s^2) and `speed` (rad/s) of the part, `cost`: s of an average index."""

    acceleration: float
    speed: float
    cost: float


class IndexSearch:
    """The quickest pair for `moves` with every one of `limits` (by default all) kept to 1 - `reserve` of itself.

    `top_speed`: the highest part speed (rad/s) that they allow; `reachable_speed`: the highest of them that the longest
    move can reach.
    """

    def __init__(
        self, loads: Sequence[LoadCase], moves: IndexMoves, reserve: float, limits: Iterable[Limit] | None = None
    ) -> None:
        """For `moves` of whichever of `loads` is the true one; they have one band of natural frequencies."""
        self._load, self._loads = loads[0], loads
        self._moves = moves
        self._reserve = reserve
        self._allowed = Allowed.of(list(all_limits() if limits is None else limits), loads, reserve)
        self.top_speed = self._allowed.top_speed
        self._speeds, self._pull_out = self._table()
        most = float(self.steady_acceleration(np.zeros(1))[0])
        self.reachable_speed = min(self.top_speed, math.sqrt(max(most, 1e-9) * moves.longest_of_all))

    def _table(self) -> tuple[FloatArray, FloatArray]:
        """Speeds from rest on, and the least pull-out torque on the way to each, with the curve's own corners."""
        load = self._load
        speeds = np.concatenate([np.zeros(1), np.geomspace(1e-5, 1.0, _TABLE) * self.top_speed])
        if load.curve is not None:
            corners = load.pull_out_corners
            past = corners[-1:] * (1 + 1e-9)  # past its last point the motor has no torque
            speeds = np.unique(np.concatenate([speeds, corners, past]))
            speeds = speeds[speeds <= self.top_speed]
        least = np.minimum.accumulate(np.min([each.pull_out(speeds) for each in self._loads], axis=0))
        return speeds, least if load.curve is not None else least * (1 - _BETWEEN)

    def pull_out(self, speeds: FloatArray) -> FloatArray:
        """Least pull-out torque (N m at the motor) from rest to each of `speeds` (rad/s of the part)."""
        beyond, fastest = speeds > self.top_speed, float(speeds.max())
        torque = np.interp(speeds, self._speeds, self._pull_out)
        if not beyond.any():
            return torque
        return np.where(beyond, min(each.lowest_pull_out(fastest) for each in self._loads), torque)

    def sudden_bounds(self, speeds: FloatArray) -> dict[str, FloatArray]:
        """Highest part acceleration (rad/s^2, negative if none) at `speeds` (rad/s), by the limit that sets it.

        Of a ramp that sets in at once, as commanded and as it swings at the least. How far it really swings depends on
        the ramp's time as well, see `cost`.
        """
        pull_out = self.pull_out(speeds)
        return self._allowed.steady(speeds, pull_out) | self._allowed.swinging(speeds, pull_out)

    def steady_acceleration(self, speeds: FloatArray) -> FloatArray:
        """The least that limits of the ramps as commanded allow (rad/s^2; not positive where nothing is safe)."""
        return least(self._allowed.steady(speeds, self.pull_out(speeds)), speeds)

    def largest_acceleration(self, speeds: FloatArray) -> FloatArray:
        """The least of `sudden_bounds` (rad/s^2; not positive where nothing is safe)."""
        return least(self.sudden_bounds(speeds), speeds)

    def cost(self, acceleration: FloatArray, speed: FloatArray, *, beside_bands: bool) -> FloatArray:
        """Seconds that an average index takes with its settling; infinite where a limit is exceeded. They broadcast.

        `beside_bands`: whether to refuse cruising in a resonant band.
        """
        moves = self._moves
        a, v = np.broadcast_arrays(acceleration, speed)
        allowed = (a > 0) & (a <= self.largest_acceleration(v) * (1 + 1e-9))
        a = np.where(a > 0, a, 1.0)
        times = index_times(moves.shortest, moves.longest, moves.mean, a, v)
        up, down = self._peak_accelerations(a, times)
        allowed &= self._allowed.bears(up, down, v, self.pull_out(v))
        if beside_bands:
            cruises = moves.longest_of_all > v**2 / a
            allowed &= ~cruises | self._allowed.beside_bands(v, self._reserve)
        settling = settle_times(self._load, moves, times, a, v).max(axis=-1)
        others = (times.duration * moves.count * ~moves.gated).sum(axis=-1) / moves.count.sum()
        index = (times.duration * moves.weights).sum(axis=-1) + settling
        return np.where(allowed, index + _OF_OTHERS * others, np.inf)

    def _peak_accelerations(self, acceleration: FloatArray, times: IndexTimes) -> tuple[FloatArray, FloatArray]:
        """Largest accelerations (rad/s^2, >= 0) of the part as it swings in the worst phase: speeding up, braking."""
        factors = peak_factors(self._load, times)
        return factors.accelerating.max(axis=-1) * acceleration, factors.braking.max(axis=-1) * acceleration

    @property
    def acceleration_limits(self) -> frozenset[str]:
        """Names of the limits that bound the acceleration."""
        return frozenset(self.sudden_bounds(np.zeros(1)))

    def shares(self, pair: Pair) -> dict[str, float]:
        """How much of each limit, its reserve kept, a pair uses up: 1 at the limit."""
        moves, v, a = self._moves, np.array([pair.speed]), np.array([pair.acceleration])
        pull_out = self.pull_out(v)
        up, down = self._peak_accelerations(a, index_times(moves.shortest, moves.longest, moves.mean, a, v))
        ramps = self._allowed.steady_shares(a, v, pull_out) | self._allowed.peak_shares(up, down, v, pull_out)
        return self._allowed.speed_shares(pair.speed) | {name: float(share[0]) for name, share in ramps.items()}

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
        """What is in the way: the limits that a ramp exceeds which sets in at once, else the peaks of any ringing."""
        speeds = _SPEEDS * self.reachable_speed if speed is None else np.array([speed])
        wanted = acceleration or 0.0
        bounds = {name: float(bound.max()) for name, bound in self.sudden_bounds(speeds).items()}
        short = {name: most for name, most in bounds.items() if most <= wanted}
        if not short:
            peaks = self._allowed.swinging(speeds, self.pull_out(speeds))
            in_any_phase = {name: float(most.max()) * SUDDEN_PEAK / WORST_PEAK for name, most in peaks.items()}
            nearest = min(in_any_phase, key=lambda name: in_any_phase[name])
            short = {name: most for name, most in in_any_phase.items() if most <= wanted or name == nearest}
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
