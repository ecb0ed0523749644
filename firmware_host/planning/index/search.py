"""The search for the quickest index, move and settling, over acceleration and speed at once.

The cost has valleys where a ramp lasts whole natural periods, so a grid finds the valleys and finer ones go down the
deepest of them; every grid is one array. A few oscillators tell on the grids how long a pair rings and how far it
swings; the best pairs found are then looked at with all of them, and give way a little where that is needed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import LimitExceededError
from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.train.index_swing import SwingPeaks
from firmware_host.mechanics.train.oscillators import Oscillators, few, least_damped
from firmware_host.planning.index.allowed import Allowed, least
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.index.peaks import WORST_PEAK, largest_peaks, peak_bounds, peaks_among
from firmware_host.planning.index.ringing import settle_times
from firmware_host.planning.index.times import times_of
from firmware_host.planning.index.timing import index_timing
from firmware_host.planning.limits.limit import SUDDEN_PEAK, Limit
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.load.case import LoadCase

_TABLE = 1024
_BETWEEN = 1e-4  # more than a line between two entries of the table can lie above the electrical model's curve
_SPEEDS = np.concatenate([np.geomspace(1e-4, 1e-2, 12, endpoint=False), np.geomspace(1e-2, 1.0, 96)])
_SHARES = np.concatenate([np.geomspace(1e-3, 0.1, 40, endpoint=False), np.geomspace(0.1, 1.0, 96)])
_VALLEYS = (24, 12, 6, 4, 4)
_OF_OTHERS = 1e-4  # so little that moves no gate follows only decide where nothing else does
_BEYOND_REACH = 1.12  # a speed limit that no move comes near is the same motion as one just reached
_FINE = np.linspace(-1.0, 1.0, 15)
_FIRST_HALF_WIDTH = 0.1
_SHRINK = 0.25
_GIVING_WAY = 24


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """A motion found: `acceleration` (rad/s^2) and `speed` (rad/s) of the part, `cost`: s of an average index."""

    acceleration: float
    speed: float
    cost: float


@dataclass(frozen=True, slots=True, eq=False)
class _Few:
    """The oscillators that a grid is looked at with: for how long they `ring`, and for how far they `swing`.

    A pair that takes `worth` times as long as one that surely keeps the limits is not looked into.
    """

    ring: Oscillators
    swing: Oscillators
    worth: float


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
        band, damping = self._load.natural_band, self._load.damping
        self._some = _Few(few(band, damping, 5, 1), least_damped(band, damping, 5), 1.5)
        self._more = _Few(few(band, damping, 13, 3), least_damped(band, damping, 11), 1.1)
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

    def cost(
        self, acceleration: FloatArray, speed: FloatArray, *, beside_bands: bool, among: _Few | None = None
    ) -> FloatArray:
        """Seconds that an average index takes with its settling; infinite where a limit is exceeded. They broadcast.

        `beside_bands`: whether to refuse cruising in a resonant band. The swing is the worst of `among`, by default of
        a few oscillators: a machine between them may ring a little longer.
        """
        moves, among = self._moves, among or self._some
        a, v = np.broadcast_arrays(acceleration, speed)
        allowed = (a > 0) & (a <= self.steady_acceleration(v) * (1 + 1e-9))
        a = np.where(a > 0, a, 1.0)
        if beside_bands:
            cruises = moves.longest_of_all > v**2 / a
            allowed &= ~cruises | self._allowed.beside_bands(v, self._reserve)
        duration = times_of(moves, a, v).duration
        others = (duration * moves.count * ~moves.gated).sum(axis=-1) / moves.count.sum()
        index = (duration * moves.weights).sum(axis=-1) + settle_times(self._load, moves, a, v, among.ring)
        cost = np.where(allowed, index + _OF_OTHERS * others, np.inf)
        return np.where(self._bears(a, v, cost, among), cost, np.inf)

    def _bears(self, a: FloatArray, v: FloatArray, cost: FloatArray, among: _Few) -> NDArray[np.bool_]:
        """Whether each pair keeps the limits as it swings; those that take too long to matter count as not."""
        times, pull_out = times_of(self._moves, a, v), self.pull_out(v)
        surely = self._swings(a, v, peak_bounds(self._load, times), pull_out) & np.isfinite(cost)
        enough = cost[surely].min(initial=np.inf) * among.worth
        unsure = ~surely & np.isfinite(cost) & (cost <= enough)
        for some in (among.swing.every(5), among.swing):
            if unsure.any():
                peaks = peaks_among(self._load, times.at(unsure), some)
                unsure[unsure] = self._swings(a[unsure], v[unsure], peaks, pull_out[unsure])
        return np.asarray(surely | unsure)

    def _swings(
        self, acceleration: FloatArray, speed: FloatArray, peaks: SwingPeaks, pull_out: FloatArray
    ) -> NDArray[np.bool_]:
        up, down = peaks.pushing.max(axis=-1) * acceleration, peaks.holding.max(axis=-1) * acceleration
        return self._allowed.bears(up, down, speed, pull_out)

    @property
    def acceleration_limits(self) -> frozenset[str]:
        """Names of the limits that bound the acceleration."""
        return frozenset(self.sudden_bounds(np.zeros(1)))

    def shares(self, pair: Pair) -> dict[str, float]:
        """How much of each limit, its reserve kept, a pair uses up: 1 at the limit."""
        v, a = np.array([pair.speed]), np.array([pair.acceleration])
        ramps = self._allowed.steady_shares(a, v, self.pull_out(v))
        shares = self._allowed.speed_shares(pair.speed) | {name: float(share[0]) for name, share in ramps.items()}
        return shares | self._peak_shares(pair)

    def _peak_shares(self, pair: Pair) -> dict[str, float]:
        """The same of the limits of the swinging part, whatever oscillator of the load's it is."""
        up, down = largest_peaks(self._load, self._moves, pair.acceleration, pair.speed)
        v, a = np.array([pair.speed]), np.array([pair.acceleration])
        shares = self._allowed.peak_shares(up * a, down * a, v, self.pull_out(v))
        return {name: float(share[0]) for name, share in shares.items()}

    def best(self, acceleration: float | None, speed: float | None) -> Pair:
        """The pair of least cost; a given `acceleration` (rad/s^2) or `speed` (rad/s) is kept.

        Cruising in a resonant band is avoided where it can be. `LimitExceededError` where nothing is safe.
        """
        for beside_bands in (True, False):
            found = self._descend(acceleration, speed, beside_bands)
            best: Pair | None = None
            for pair in found:
                if best is None or pair.cost < best.cost:
                    proved = self._proved(pair, acceleration, speed)
                    best = proved if best is None or (proved and proved.cost < best.cost) else best
            if best is not None:
                return best
        raise self._nothing_safe(acceleration, speed)

    def _proved(self, pair: Pair, acceleration: float | None, speed: float | None) -> Pair | None:
        """The pair, given way until every oscillator keeps the limits, and its true cost; None where none is found.

        A lower acceleration shifts the ramps against the swing, which may make it worse: so it gives way at the same
        speed, with the same ramp, and with the same cruise of the longest move, as far as neither is stated.
        """
        if self._over(pair) <= 1:
            return self._with_true_cost(pair)
        ways: tuple[Callable[[Pair, float], Pair], ...]
        if acceleration is not None:
            ways = (_slower,)
        else:
            ways = (_gentler,) if speed is not None else (_gentler, _same_ramp, self._same_cruise)
        found = [proved for way in ways if (proved := self._given_way(pair, way)) is not None]
        return min(found, key=lambda each: each.cost, default=None)

    def _given_way(self, pair: Pair, way: Callable[[Pair, float], Pair]) -> Pair | None:
        for _ in range(_GIVING_WAY):
            over = self._over(pair)
            if over <= 1:
                return self._with_true_cost(pair)
            pair = way(pair, over + 1e-4)
        return None

    def _over(self, pair: Pair) -> float:
        return max(self._peak_shares(pair).values(), default=0.0) - 1e-9

    def _with_true_cost(self, pair: Pair) -> Pair:
        timing = index_timing(self._load, self._moves, pair.acceleration, pair.speed)
        return replace(pair, cost=timing.index_s)

    def _same_cruise(self, pair: Pair, over: float) -> Pair:
        """The speed that leaves the cruise as it is: d = v^2/a + v c, solved for v."""
        length, a = self._moves.longest_of_all, pair.acceleration
        cruise = length / pair.speed - pair.speed / a
        if cruise <= 0:
            return _gentler(pair, over)
        a /= over
        return replace(pair, acceleration=a, speed=a / 2 * (math.sqrt(cruise**2 + 4 * length / a) - cruise))

    def _descend(self, acceleration: float | None, speed: float | None, beside_bands: bool) -> list[Pair]:
        """The lowest points of the deepest valleys, as the few oscillators see them; none where nothing is safe."""
        speeds = _SPEEDS * self.reachable_speed if speed is None else np.array([speed])
        shares = _SHARES if acceleration is None else np.ones(1)
        a, grid_v = self._motion(speeds[:, None], shares[None, :], acceleration)
        cost = self.cost(a, grid_v, beside_bands=beside_bands)
        if speed is None:
            out_of_reach = grid_v > _BEYOND_REACH * np.sqrt(np.maximum(a, 0.0) * self._moves.longest_of_all)
            cost = np.where(out_of_reach, np.inf, cost)
        valleys = _valleys(cost)
        if valleys.size == 0:
            return []
        v, f = speeds[valleys[:, 0]], shares[valleys[:, 1]]
        width, lowest = _FIRST_HALF_WIDTH, np.zeros(0)
        for keep in (*_VALLEYS[1:], _VALLEYS[-1]):
            zoom_v = (v[:, None] * (1 + width * _FINE))[:, :, None] if speed is None else v[:, None, None]
            zoom_f = np.minimum(f[:, None] * (1 + width * _FINE), 1.0) if acceleration is None else f[:, None]
            a, grid_v = self._motion(
                np.minimum(zoom_v, max(self.top_speed, speed or 0.0)), zoom_f[:, None, :], acceleration
            )
            cost = self.cost(a, grid_v, beside_bands=beside_bands, among=self._more).reshape(v.size, -1)
            best = cost.argmin(axis=1)
            shape = np.broadcast_shapes(grid_v.shape, zoom_f[:, None, :].shape)
            rows = np.arange(v.size)
            v = np.broadcast_to(grid_v, shape).reshape(v.size, -1)[rows, best]
            f = np.broadcast_to(zoom_f[:, None, :], shape).reshape(v.size, -1)[rows, best]
            lowest = cost[rows, best]
            deepest = np.argsort(lowest, kind="stable")[:keep]
            v, f, lowest = v[deepest], f[deepest], lowest[deepest]
            width *= _SHRINK
        a, grid_v = self._motion(v, f, acceleration)
        found = zip(a.tolist(), np.broadcast_to(grid_v, a.shape).tolist(), lowest.tolist(), strict=True)
        return [Pair(*each) for each in found if math.isfinite(each[2])]

    def _motion(
        self, speed: FloatArray, share: FloatArray, acceleration: float | None
    ) -> tuple[FloatArray, FloatArray]:
        """Acceleration as a `share` of the largest steady one at `speed`, or the kept one; and the speed."""
        if acceleration is not None:
            return np.full(np.broadcast_shapes(speed.shape, share.shape), acceleration), speed
        return self.steady_acceleration(speed) * share, speed

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


def _gentler(pair: Pair, over: float) -> Pair:
    return replace(pair, acceleration=pair.acceleration / over)


def _same_ramp(pair: Pair, over: float) -> Pair:
    return replace(pair, acceleration=pair.acceleration / over, speed=pair.speed / over)


def _slower(pair: Pair, over: float) -> Pair:
    return replace(pair, speed=pair.speed / over)


def _valleys(cost: FloatArray) -> NDArray[np.intp]:
    """Row and column of the deepest local minima of a grid, shape (k, 2), k <= 24; none where all is infinite."""
    padded = np.pad(cost, 1, constant_values=np.inf)
    lowest = np.min([padded[1:-1, :-2], padded[1:-1, 2:], padded[:-2, 1:-1], padded[2:, 1:-1]], axis=0)
    places = np.argwhere(np.isfinite(cost) & (cost <= lowest))
    order = np.argsort(cost[places[:, 0], places[:, 1]], kind="stable")
    return places[order[: _VALLEYS[0]]]
