"""What all limits together leave a motion: speeds, steady accelerations, and the peaks of the swinging part."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.index.allowed import Allowed, least
from firmware_host.planning.index.moves import IndexMoves
from firmware_host.planning.limits.limit import Limit
from firmware_host.planning.load.case import LoadCase

_TABLE = 1024
_BETWEEN = 1e-4  # more than a line between two entries of the table can lie above the electrical model's curve


class MotionRoom:
    """The motions of `moves` that keep every one of `limits` to 1 - `reserve` of itself, ringing not looked at.

    `top_speed`: the highest part speed (rad/s) that they allow; `reachable_speed`: the highest of them that the longest
    move can reach.
    """

    def __init__(self, loads: Sequence[LoadCase], moves: IndexMoves, reserve: float, limits: Iterable[Limit]) -> None:
        """For `moves` of whichever of `loads` is the true one; they have one band of natural frequencies."""
        self.load, self._loads = loads[0], loads
        self.moves, self._reserve = moves, reserve
        self.allowed = Allowed.of(list(limits), loads, reserve)
        self.top_speed = self.allowed.top_speed
        self._speeds, self._pull_out = self._table()
        most = float(self.steady_acceleration(np.zeros(1))[0])
        self.reachable_speed = min(self.top_speed, math.sqrt(max(most, 1e-9) * moves.longest_of_all))

    def _table(self) -> tuple[FloatArray, FloatArray]:
        """Speeds from rest on, and the least pull-out torque on the way to each, with the curve's own corners."""
        load = self.load
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
        beyond, fastest = speeds > self.top_speed, float(speeds.max(initial=0.0))
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
        return self.allowed.steady(speeds, pull_out) | self.allowed.swinging(speeds, pull_out)

    def steady_acceleration(self, speeds: FloatArray) -> FloatArray:
        """The least that limits of the ramps as commanded allow (rad/s^2; not positive where nothing is safe)."""
        return least(self.allowed.steady(speeds, self.pull_out(speeds)), speeds)

    def steady_nearly(self, speeds: FloatArray) -> FloatArray:
        """`steady_acceleration` to a hundred-thousandth, from the table: for a search that looks at many."""
        return np.interp(speeds, self._speeds, self._steady)

    def largest_acceleration(self, speeds: FloatArray) -> FloatArray:
        """The least of `sudden_bounds` (rad/s^2; not positive where nothing is safe)."""
        return least(self.sudden_bounds(speeds), speeds)

    def beside_bands(self, speeds: FloatArray) -> NDArray[np.bool_]:
        """Whether cruising at `speeds` (rad/s) keeps clear of what is avoided where it can be."""
        return self.allowed.beside_bands(speeds, self._reserve)

    def bears(self, up: FloatArray, down: FloatArray, speeds: FloatArray) -> NDArray[np.bool_]:
        """Whether a part that swings to `up` and `down` (rad/s^2, one shape) at `speeds` keeps every limit, nearly."""
        most_down = np.interp(speeds, self._speeds, self._swung[1])
        return np.asarray((up <= self.most_pushed(speeds)) & (down <= most_down))

    def most_pushed(self, speeds: FloatArray) -> FloatArray:
        """To how many rad/s^2 a part may swing as it is pushed on at `speeds` (rad/s), nearly; infinite: to any."""
        return np.interp(speeds, self._speeds, self._swung[0])

    @cached_property
    def _swung(self) -> tuple[FloatArray, FloatArray]:
        return self.allowed.swung(self._speeds, self._pull_out)

    @cached_property
    def _steady(self) -> FloatArray:
        return self.steady_acceleration(self._speeds)
