"""Which motors do each part of a table, and how quickly."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

from firmware_host.model.files.loading import Setup
from firmware_host.model.files.parts import PartRow
from firmware_host.model.machine.motor import Motor
from firmware_host.planning.compare.motors import MotorCandidate, compare_motors
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.many.rows import PartTable, Spread, each_planned, inside
from firmware_host.planning.plan import plan_job


@dataclass(frozen=True, slots=True)
class MotorFigures:
    """One motor on one part: its verdict; time of an index (s) and least torque margin, None without a motion."""

    name: str
    verdict: Verdict
    index_s: float | None
    torque_margin: float | None


@dataclass(frozen=True, slots=True)
class PartMotors:
    """The motors for one part: those that hold first, the quickest of them first. `trouble`: why there are none."""

    part: PartRow
    motors: tuple[MotorFigures, ...] = ()
    trouble: str = ""

    @property
    def usable(self) -> tuple[MotorFigures, ...]:
        """Those that nothing stops."""
        return tuple(each for each in self.motors if not each.verdict.stops)


def motors_for_many(
    setup: Setup,
    table: PartTable,
    motors: Mapping[str, Motor],
    *,
    check: Check = never,
    told: Callable[[int], None] = lambda done: None,
    spread: Spread | None = None,
) -> tuple[PartMotors, ...]:
    """Compare `motors` (by name) for each part of a table, see `compare_motors`; else as `plan_many`."""
    make = partial(_compared, motors, inside(check, spread))
    found = each_planned(setup, table, make, check, told, spread)
    return tuple(
        PartMotors(row, trouble=each) if isinstance(each, str) else PartMotors(row, each) for row, each in found
    )


def _compared(motors: Mapping[str, Motor], check: Check, setup: Setup) -> tuple[MotorFigures, ...]:
    return tuple(map(_figures, compare_motors(setup, motors, plan=partial(plan_job, check=check))))


def _figures(each: MotorCandidate) -> MotorFigures:
    timing = each.timing
    return MotorFigures(each.name, each.verdict, timing.index_s if timing is not None else None, each.torque_margin)
