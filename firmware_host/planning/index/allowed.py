"""What all limits together allow of an index's motion: each limit is asked, nothing is stated again here.

Speeds rad/s and accelerations rad/s^2 of the part, arrays that broadcast; `pull_out` N m as in `MotionBound`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.limits.limit import Limit, MotionBound
from firmware_host.planning.load.case import LoadCase


@dataclass(frozen=True, slots=True)
class TightestBound(MotionBound):
    """The tightest of one limit's `bounds` on several loads, everywhere."""

    bounds: tuple[MotionBound, ...]

    def top_speed(self) -> float:
        return min(bound.top_speed() for bound in self.bounds)

    def steady(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray | None:
        return _fold(np.minimum, (bound.steady(speeds, pull_out) for bound in self.bounds))

    def braking(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray | None:
        return _fold(np.minimum, (bound.braking(speeds, pull_out) for bound in self.bounds))

    def steady_share(self, acceleration: FloatArray, speeds: FloatArray, pull_out: FloatArray) -> FloatArray | None:
        return _fold(np.maximum, (bound.steady_share(acceleration, speeds, pull_out) for bound in self.bounds))

    def sudden(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray | None:
        return _fold(np.minimum, (bound.sudden(speeds, pull_out) for bound in self.bounds))

    def peak_share(
        self, up: FloatArray, down: FloatArray, speeds: FloatArray, pull_out: FloatArray
    ) -> FloatArray | None:
        return _fold(np.maximum, (bound.peak_share(up, down, speeds, pull_out) for bound in self.bounds))

    def swung(self, speeds: FloatArray, pull_out: FloatArray) -> tuple[FloatArray, FloatArray] | None:
        return _least_pair(bound.swung(speeds, pull_out) for bound in self.bounds)

    def cruise_margin(self, speeds: FloatArray) -> FloatArray | None:
        return _fold(np.minimum, (bound.cruise_margin(speeds) for bound in self.bounds))


def _fold(
    pick: Callable[[FloatArray, FloatArray], FloatArray], answers: Iterable[FloatArray | None]
) -> FloatArray | None:
    given = [answer for answer in answers if answer is not None]
    return reduce(pick, given) if given else None


def _least_pair(
    answers: Iterable[tuple[FloatArray, FloatArray] | None],
) -> tuple[FloatArray, FloatArray] | None:
    given = [answer for answer in answers if answer is not None]
    if not given:
        return None
    return reduce(np.minimum, (up for up, _ in given)), reduce(np.minimum, (down for _, down in given))


@dataclass(frozen=True, slots=True, eq=False)
class Allowed:
    """The bounds of the limits that bind a load, by name."""

    bounds: Mapping[str, MotionBound]

    @classmethod
    def of(cls, limits: Iterable[Limit], loads: Sequence[LoadCase], reserve: float) -> Allowed:
        """What `limits` allow with `reserve` (0 <= reserve < 1) of each kept, whichever of `loads` is the true one."""
        found = dict[str, MotionBound]()
        for limit in limits:
            bounds = tuple(bound for load in loads if (bound := limit.bound(load, reserve)) is not None)
            if bounds:
                found[limit.name] = bounds[0] if len(bounds) == 1 else TightestBound(bounds)
        return cls(MappingProxyType(found))

    @classmethod
    def at_motions(cls, limits: Iterable[Limit], load: LoadCase, reserve: float) -> Allowed:
        """The same of many parts at once, each with a motion of its own, see `Limit.at_motions`."""
        found = {limit.name: limit.at_motions(load, reserve) for limit in limits}
        return cls(MappingProxyType({name: bound for name, bound in found.items() if bound is not None}))

    @property
    def top_speed(self) -> float:
        """The highest speed that no limit forbids."""
        highest: float = reduce(np.minimum, (bound.top_speed() for bound in self.bounds.values()), np.inf)
        return highest

    def steady(self, speeds: FloatArray, pull_out: FloatArray) -> dict[str, FloatArray]:
        """Highest acceleration of a ramp at `speeds` as commanded (negative if none), by the limit that sets it."""
        return _given((name, bound.steady(speeds, pull_out)) for name, bound in self.bounds.items())

    def braking(self, speeds: FloatArray, pull_out: FloatArray) -> dict[str, FloatArray]:
        """The same for braking alone."""
        return _given((name, bound.braking(speeds, pull_out)) for name, bound in self.bounds.items())

    def swinging(self, speeds: FloatArray, pull_out: FloatArray) -> dict[str, FloatArray]:
        """Highest acceleration as commanded of a ramp that sets in at once and swings no further than it must."""
        return _given((name, bound.sudden(speeds, pull_out)) for name, bound in self.bounds.items())

    def swung(self, speeds: FloatArray, pull_out: FloatArray) -> tuple[FloatArray, FloatArray]:
        """How far the part may swing (rad/s^2), speeding up and braking, nearly; infinite where nothing bounds it."""
        endless = np.full(speeds.shape, np.inf)
        found = _least_pair(bound.swung(speeds, pull_out) for bound in self.bounds.values())
        return found if found is not None else (endless, endless)

    def beside_bands(self, speeds: FloatArray, reserve: float) -> NDArray[np.bool_]:
        """Whether cruising at `speeds` keeps `reserve` of every limit that is avoided where it can be."""
        kept = np.ones(speeds.shape, dtype=np.bool_)
        for margin in _given((name, bound.cruise_margin(speeds)) for name, bound in self.bounds.items()).values():
            kept &= margin >= reserve
        return kept

    def speed_shares(self, speed: float) -> dict[str, float]:
        """How much of each limit of the speed is used up, 1 at the limit."""
        caps = {name: bound.top_speed() for name, bound in self.bounds.items()}
        return {name: speed / cap for name, cap in caps.items() if np.any(np.isfinite(cap))}

    def steady_shares(
        self, acceleration: FloatArray, speeds: FloatArray, pull_out: FloatArray
    ) -> dict[str, FloatArray]:
        """How much of each limit of the ramps as commanded is used up, 1 at the limit."""
        return _given((name, b.steady_share(acceleration, speeds, pull_out)) for name, b in self.bounds.items())

    def peak_shares(
        self, up: FloatArray, down: FloatArray, speeds: FloatArray, pull_out: FloatArray
    ) -> dict[str, FloatArray]:
        """How much of each limit of the swinging part is used up, 1 at the limit."""
        return _given((name, bound.peak_share(up, down, speeds, pull_out)) for name, bound in self.bounds.items())


def _given(answers: Iterable[tuple[str, FloatArray | None]]) -> dict[str, FloatArray]:
    return {name: answer for name, answer in answers if answer is not None}


def least(bounds: Mapping[str, FloatArray], like: FloatArray) -> FloatArray:
    """The least of `bounds`, in the shape of `like`; infinite where there are none."""
    return np.asarray(np.min([np.full(like.shape, np.inf), *bounds.values()], axis=0))
