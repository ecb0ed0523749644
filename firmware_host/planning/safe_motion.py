"""The speed and acceleration of an index that are quickest and still safe.

A stepper's torque falls with speed, so the largest acceleration goes with a low speed: the quickest pair lies between.
Both are the part's, rad/s and rad/s^2.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import InputError, LimitExceededError
from firmware_host.mechanics.guard import FloatArray, FloatOrArray, require_not_negative
from firmware_host.mechanics.rollers import Trough, grip_acceleration, normal_at_rest, smallest_normal
from firmware_host.mechanics.vibration import resonant_step_rates
from firmware_host.planning.load import LoadCase
from firmware_host.planning.velocity import plan_index

NARROW_MARGIN = 0.2
"""A limit with less than this part of itself left holds only narrowly; the safe motion keeps this much of each."""

DAMPING_RATIO = 0.1
"""Damping ratio of a motor on its magnetic spring where nobody measured it: 0.05 to 0.2, from memory."""

PEAK_FACTOR = 2.0
"""Peak over steady torque when an acceleration sets in at once, undamped: `vibration.sudden_peak_factor(0)`."""

_GRID = 2048


@dataclass(frozen=True, slots=True)
class SafeMotion:
    """`acceleration` rad/s^2 and `speed` rad/s of the part, and the names of what stops them going further.

    `assumed`: keys of data that were counted as nothing because nobody gave them.
    """

    acceleration: float
    speed: float
    binding: tuple[str, ...]
    assumed: tuple[str, ...] = ()


def band_margin(load: LoadCase, speed: FloatOrArray) -> tuple[FloatArray, FloatArray]:
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


def longest_index(index_turns: NDArray[np.float64]) -> float:
    """The longest index (rad); one whole turn if no index moves at all."""
    turns = require_not_negative("index", index_turns, "turns")
    longest = float(turns.max(initial=0.0))
    return 2 * math.pi * (longest if longest > 0 else 1.0)


def safe_motion(
    load: LoadCase,
    index_turns: NDArray[np.float64],
    *,
    speed: float | None = None,
    acceleration: float | None = None,
    reserve: float = NARROW_MARGIN,
) -> SafeMotion:
    """The pair that makes the indexes quickest while every limit keeps `reserve` (0 <= reserve < 1) of itself.

    `index_turns`: |part turns| of every index, shape (n,), n up to millions. A `speed` (rad/s) or `acceleration`
    (rad/s^2) given is kept and the other is found. Limits: step rates and pulse bound the speed; torque (at every speed
    passed), its peak, and the grip bound the acceleration at that speed; cruising in a resonant band is avoided where
    it can be. For each speed of a fine grid the largest acceleration is the best, so the search is over one
    number; a second grid refines it. Quickest means the least total time of the index moves, summed over quantiles.

    `InputError` if the motor's torque at speed isn't known; `LimitExceededError` if no motion is safe.
    """
    if not load.pull_out_known:
        raise InputError(
            "the motor's torque at speed is not known, so no safe speed follows",
            "Give motor.torque_curve, or resistance and inductance; or state index.speed and index.acceleration",
            key="motor",
        )
    search = _Search(load, _typical_lengths(index_turns), acceleration, reserve)
    chosen = search.quickest_speed() if speed is None else search.only(speed)
    bounds = {name: float(bound[0]) for name, bound in search.acceleration_bounds(np.array([chosen])).items()}
    used = min(bounds.values()) if acceleration is None else acceleration
    binding = [name for name, bound in bounds.items() if used >= bound * (1 - 1e-6)]
    if speed is None:
        binding += [name for name, cap in search.speed_caps().items() if chosen >= cap * (1 - 1e-6)]
        if math.sqrt(used * longest_index(index_turns)) <= chosen * (1 + 1e-3):
            binding.append("index-length")
    return SafeMotion(used, chosen, tuple(binding), load.missing.for_torque)


def _typical_lengths(index_turns: FloatArray) -> FloatArray:
    """Fifteen quantiles of the indexes that move (rad), standing for all of them; the longest if none moves."""
    moving = index_turns[index_turns > 0]
    if moving.size == 0:
        return np.array([longest_index(index_turns)])
    return np.asarray(2 * math.pi * np.quantile(moving, (np.arange(15) + 0.5) / 15))


@dataclass(frozen=True, slots=True)
class _Search:
    """The search over the speed, for one load case, typical `lengths` (rad) and a kept `acceleration` or None."""

    load: LoadCase
    lengths: FloatArray
    acceleration: float | None
    reserve: float

    def speed_caps(self) -> dict[str, float]:
        """Highest part speed (rad/s) by the name of the limit that sets it."""
        load, left = self.load, 1 - self.reserve
        per_speed = float(load.step_rate(1.0))
        caps = {
            "step-rate-driver": load.driver_step_rate * left / per_speed,
            "step-rate-controller": load.controller_step_rate * left / per_speed,
        }
        if load.smallest_pulse is not None:
            caps["step-pulse"] = left / (2 * load.smallest_pulse) / per_speed
        return caps

    def acceleration_bounds(self, speeds: FloatArray) -> dict[str, FloatArray]:
        """Highest part acceleration (rad/s^2, negative if none) at rising `speeds`, by the limit that sets it.

        The torque needed rises linearly with the acceleration, and it is largest while speeding up.
        """
        load, left = self.load, 1 - self.reserve
        at_once = np.minimum.accumulate(load.pull_out(speeds))
        pull_out = np.minimum(at_once, load.lowest_pull_out(float(speeds[0]))) * left
        steady, with_one = load.torque(np.array([0.0, 1.0])).accelerating
        slope = with_one - steady
        bounds = {
            "torque-accelerating": (pull_out / load.safety_factor - steady) / slope,
            "torque-peak": (pull_out - steady) / (PEAK_FACTOR * slope),
        }
        if load.trough is not None and load.friction is not None:
            grip, seated = grip_bounds(load.trough, load.friction, load.imbalance_torque, self.reserve)
            bounds |= {"grip": np.full(speeds.shape, grip), "seating": np.full(speeds.shape, seated)}
        return bounds

    def quickest_speed(self) -> float:
        """The best speed (rad/s): a geometric grid over four decades, then a fine one around its best point."""
        top = min(self.speed_caps().values())
        coarse = np.geomspace(top * 1e-4, top, _GRID)
        k = self._best(coarse)
        around = coarse[max(k - 1, 0)], coarse[min(k + 1, _GRID - 1)]
        fine = np.sort(np.append(np.linspace(*around, _GRID), coarse[k]))
        return float(fine[self._best(fine)])

    def only(self, speed: float) -> float:
        """The stated `speed` itself, once it is known that some acceleration is safe at it."""
        self._best(np.array([speed]))
        return speed

    def _best(self, speeds: FloatArray) -> int:
        """Index of the speed at which the typical indexes take the least time in all."""
        bounds = self.acceleration_bounds(speeds)
        allowed = np.min(list(bounds.values()), axis=0)
        usable = allowed > 0 if self.acceleration is None else allowed >= self.acceleration
        if not usable.any():
            raise self._nothing_safe(bounds)
        clear = usable & (band_margin(self.load, speeds)[0] >= self.reserve)
        usable = clear if clear.any() else usable
        used = allowed if self.acceleration is None else np.full_like(allowed, self.acceleration)
        motion = plan_index(self.lengths[:, None], np.where(usable, used, 1.0), speeds)
        total = motion.duration.sum(axis=0)
        return int(np.argmin(np.where(usable, total, np.inf)))

    def _nothing_safe(self, bounds: dict[str, FloatArray]) -> LimitExceededError:
        wanted = self.acceleration or 0.0
        short = {name: float(bound.max()) for name, bound in bounds.items() if bound.max() <= wanted}
        if not short:
            short = {name: float(bound.max()) for name, bound in bounds.items()}
        details = tuple(
            f"{name}: wanted more than {wanted:.4g} rad/s^2 of the part, at most {max(most, 0.0):.4g} rad/s^2 is safe"
            for name, most in short.items()
        )
        return LimitExceededError(tuple(short), details)


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
