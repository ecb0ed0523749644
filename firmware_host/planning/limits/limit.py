"""What a limit is: one object that knows its check, the bound it puts on the motion, its cost and its place in draws.

A subclass, listed in `registry.py`, is all that a new limit takes: the report of the limits, the search for the
quickest motion, what each limit costs and the draws ask it.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, replace
from functools import partial
from typing import ClassVar, TypeAlias, cast

import numpy as np

from firmware_host.mechanics.guard import FloatArray, FloatOrArray
from firmware_host.mechanics.train.vibration import sudden_peak_factor
from firmware_host.planning.limits.case import DrawnCase, LimitCase
from firmware_host.planning.limits.check import NARROW_MARGIN, LimitCheck, Standing, margin_of
from firmware_host.planning.limits.remedy import Way, remedy
from firmware_host.planning.load.case import LoadCase

TENFOLD = 10.0
"""How far the datum behind a limit is raised to see what the limit costs: far enough that it binds no more."""

SUDDEN_PEAK = sudden_peak_factor(0.0)
"""Peak over steady acceleration of a ramp that sets in at once, undamped: the least that a ramp swings to."""

NO_STEP_LOST, NO_SLIP = "no-step-lost", "no-slip"


Figures: TypeAlias = tuple[FloatOrArray, FloatOrArray]
"""A value, and what it may be at the most."""


class MotionBound:
    """What one limit allows of the motion, with a reserve kept; each answer may be "nothing is bounded".

    Speeds rad/s and accelerations rad/s^2 of the part, arrays that broadcast. `pull_out`: the motor's torque (N m) that
    counts at each of the speeds, whole. A limit overrides what it bounds.
    """

    def top_speed(self) -> float:
        """Highest speed (> 0, infinite if not bounded)."""
        return np.inf

    def steady(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray | None:
        """Highest acceleration of a ramp at each of `speeds` (negative where there is none), as commanded."""
        del speeds, pull_out
        return None

    def braking(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray | None:
        """The same for braking alone; by default as for speeding up."""
        return self.steady(speeds, pull_out)

    def steady_share(self, acceleration: FloatArray, speeds: FloatArray, pull_out: FloatArray) -> FloatArray | None:
        """How much of the limit a ramp uses up, 1 at the limit; None where `steady` is."""
        most = self.steady(speeds, pull_out)
        return acceleration / most if most is not None else None

    def sudden(self, speeds: FloatArray, pull_out: FloatArray) -> FloatArray | None:
        """Highest acceleration as commanded, if each ramp swings to `SUDDEN_PEAK` times it: the least it can be."""
        del speeds, pull_out
        return None

    def peak_share(
        self, up: FloatArray, down: FloatArray, speeds: FloatArray, pull_out: FloatArray
    ) -> FloatArray | None:
        """How much of the limit the part uses up that swings to `up` speeding up and to `down` braking (>= 0)."""
        del up, down, speeds, pull_out
        return None

    def swung(self, speeds: FloatArray, pull_out: FloatArray) -> tuple[FloatArray, FloatArray] | None:
        """How far the part may swing (rad/s^2), speeding up and braking: where `peak_share` is 1, to a thousandth.

        For the search, which looks at many motions; what it finds is proved with `peak_share`.
        """
        del speeds, pull_out
        return None

    def cruise_margin(self, speeds: FloatArray) -> FloatArray | None:
        """Margin of cruising at each of `speeds`, for speeds that are avoided where they can be."""
        del speeds
        return None


@dataclass(frozen=True, slots=True)
class SpeedBound(MotionBound):
    """A highest speed, rad/s of the part; of many parts at once, of each."""

    highest: FloatOrArray

    def top_speed(self) -> float:
        return cast(float, self.highest)


class Limit(ABC):
    """One limit of the index moves. `name`: of its check, and of what binds a motion.

    `costs_as`: under which name its cost is shown, its own by default; limits of one name are lifted together.
    `keeps`: which happening a draw needs it for, `NO_STEP_LOST` or `NO_SLIP`, say; "" where it is not in the draws.
    `advisory`, `stops_unknown`, `never_waived`: what it is, see `check.Standing`; the unkind of each where nothing is
    said. `ways`: the keys that may help, see `remedy`; the remedy of its check says what helps besides.
    """

    name: ClassVar[str]
    costs_as: ClassVar[str] = ""
    keeps: ClassVar[str] = ""
    advisory: ClassVar[bool] = False
    stops_unknown: ClassVar[bool] = True
    never_waived: ClassVar[str] = ""
    ways: ClassVar[tuple[Way, ...]] = ()

    def judged(self, case: LimitCase, reason: str = "") -> LimitCheck | None:
        """Its check with its verdict; `reason`: why the user accepts it, whatever it says ("" if nobody does)."""
        found = self.check(case)
        if found is None or ((standing := self.standing(case)) == found.standing and not reason):
            return found
        return replace(found, standing=standing, reason=reason)

    def helped(self, found: LimitCheck, case: LimitCase) -> LimitCheck:
        """Its check with the ways that help this case before what else does, where less than it should be is left."""
        if found.margin is None or found.margin >= NARROW_MARGIN or (found.missing and found.margin >= 0):
            return found
        return replace(found, told=partial(self._told, case))

    def _told(self, case: LimitCase, otherwise: str) -> str:
        return remedy(self.helping(case), case, self._margin, otherwise)

    def helping(self, case: LimitCase) -> tuple[Way, ...]:
        """The ways to try for this case."""
        del case
        return self.ways

    def _margin(self, case: LimitCase) -> float | None:
        found = self.check(case)
        return found.margin if found is not None else None

    def standing(self, case: LimitCase) -> Standing:
        """What it is, of this machine and job: by default the same of all."""
        del case
        return Standing(self.advisory, self.stops_unknown, self.never_waived)

    def figures(self, case: LimitCase) -> Figures | None:
        """The value and what it may be at the most; None where they are not told apart from the check.

        They are arithmetic alone, so that they are those of many parts at once where `case` is of these.
        """
        del case
        return None

    def margins(self, case: LimitCase) -> FloatArray | None:
        """The margins of many parts at once, see `planning.many.together`, by which a check differs from its fellows'.

        Whether the limit concerns a part, what is missing and what it is has to be the same of all of them, whatever
        their figures are. None where each part has to be asked.
        """
        found = self.figures(case)
        return margin_of(*found) if found is not None else None

    @abstractmethod
    def check(self, case: LimitCase) -> LimitCheck | None:
        """Value, limit and margin at a motion; None where the limit doesn't concern this machine or job.

        The verdict is `judged`'s: from these figures and what the limit is.
        """

    def bound(self, load: LoadCase, reserve: float) -> MotionBound | None:
        """What it allows of a motion with `reserve` (0 <= reserve < 1) of itself kept; None if nothing binds."""
        del load, reserve
        return None

    def at_motions(self, load: LoadCase, reserve: float) -> MotionBound | None:
        """`bound` of many parts at once, each with a motion of its own, which is proved and not looked for.

        `load`: of them all, see `margins`. It has no less to say of what is used up, but may not know the most.
        """
        return self.bound(load, reserve)

    def lifted(self, load: LoadCase) -> LoadCase | None:
        """The load with the datum behind the limit raised `TENFOLD`; None: the limit is left out to see its cost."""
        del load
        return None

    def drawn(self, case: DrawnCase) -> FloatArray | None:
        """Margin of each draw, see `check.drawn_margin`, without a safety factor; None where it concerns no draw."""
        del case
        return None


def share(value: FloatArray, limit: FloatArray | float) -> FloatArray:
    """value/limit, 1 at the limit; where the limit is nothing, 0 for no value and infinite for any."""
    limit = np.asarray(limit)
    usable = limit > 0
    return np.where(usable, value / np.where(usable, limit, 1.0), np.where(value > 0, np.inf, 0.0))


def left_over(limit: float | None, without_motion: float, reserve: float) -> float | None:
    """What a motion may use of a `limit` of which something is used up without any; None where that is all of it.

    Of many parts at once infinite there, None where it is so of all.

    Then no motion keeps the limit, and none is refused for it: its check fails. The reserve is kept, but never lets the
    motion have less than that part of what is left: nearer to the limit it holds narrowly rather than crawls.
    """
    if limit is None or np.all(nothing := np.asarray(limit <= without_motion)):
        return None
    left = np.maximum(limit * (1 - reserve) - without_motion, (limit - without_motion) * reserve)
    return cast(float, np.where(nothing, np.inf, left)[()])
