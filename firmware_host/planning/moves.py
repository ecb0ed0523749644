"""The move program: exact targets for every segment, the approach, the finish, and how long each move takes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import PlanError
from firmware_host.model.job import Job
from firmware_host.model.machine import Machine
from firmware_host.planning.lost_motion import lost_motion_turns
from firmware_host.planning.seams import lost_motion_matters
from firmware_host.planning.segments import SegmentPlan
from firmware_host.planning.steps import Steps, round_half_even, round_progression
from firmware_host.planning.velocity import plan_index

Floats = NDArray[np.float64]


class Purpose(IntEnum):
    """What a move is for."""

    INDEX = 0
    TAKE_UP = 1
    FINISH = 2

    @property
    def word(self) -> str:
        """The purpose in words."""
        return self.name.lower().replace("_", "-")


@dataclass(frozen=True)
class Route:
    """Where the axis goes, in order: arrays of shape (n,) over all moves, microsteps from the job's zero.

    `segment` counts from 1 and is 0 for a take-up or finishing move; `purpose` holds `Purpose` values.
    `per_part_turn` is the exact number of microsteps in one turn of the part. `overrun`: microsteps to go back before
    coming on again where lost motion has to be taken up; 0 if targets may be approached from both sides.
    """

    targets: Steps
    segment: NDArray[np.int64]
    purpose: NDArray[np.int8]
    per_part_turn: Fraction
    overrun: int

    @property
    def one_side(self) -> bool:
        """Whether every target is approached from below."""
        return self.overrun > 0

    @property
    def deltas(self) -> Steps:
        """Microsteps of each move, signed."""
        deltas: Steps = np.diff(self.targets, prepend=0)
        return deltas

    @property
    def index_turns(self) -> Floats:
        """How far the part turns in each move, in turns, >= 0."""
        return np.asarray(np.abs(self.deltas) / float(self.per_part_turn), dtype=np.float64)

    def segment_targets(self) -> Steps:
        """Targets of the segments alone, in order, shape (segments,)."""
        targets: Steps = self.targets[self.purpose == Purpose.INDEX]
        return targets


@dataclass(frozen=True)
class MoveProgram:
    """A route with speed (part, rad/s), acceleration (part, rad/s^2) and durations (s, shape (n,))."""

    route: Route
    speed: float
    acceleration: float
    durations: Floats

    @property
    def total_duration(self) -> float:
        """All moves together, s, without settling and marking."""
        return float(self.durations.sum())

    def angles_deg(self) -> Floats:
        """Angle of the part after each move, degrees, shape (n,)."""
        return np.asarray(self.route.targets * (360.0 / float(self.route.per_part_turn)), dtype=np.float64)

    def rows(self) -> Iterator[tuple[int, Purpose, int, int, float, float]]:
        """(segment, purpose, target, delta, angle in degrees, duration in s) of each move, in order."""
        route = self.route
        columns = (route.segment, route.purpose, route.targets, route.deltas, self.angles_deg(), self.durations)
        for segment, purpose, target, delta, angle, duration in zip(*(c.tolist() for c in columns), strict=True):
            yield segment, Purpose(purpose), target, delta, angle, duration


def plan_route(machine: Machine, job: Job, plan: SegmentPlan) -> Route:
    """Exact microstep targets for every segment, with take-up moves where lost motion matters, and the finish."""
    per_turn = machine.microsteps_per_part_turn(job.part.contact)
    targets = segment_targets(plan, per_turn)
    segment = np.arange(1, targets.size + 1, dtype=np.int64)
    purpose = np.zeros(targets.size, dtype=np.int8)
    approach = job.index.approach
    one_side = approach == "one-side" or (approach == "auto" and lost_motion_matters(machine, job))
    overrun = _overrun(machine, job, per_turn) if one_side else 0
    if overrun:
        targets, segment, purpose = _with_take_up(targets, segment, purpose, overrun)
    finish = _finish_target(job, int(targets[-1]), per_turn)
    if finish is not None:
        targets = np.append(targets, np.int64(finish))
        segment = np.append(segment, np.int64(0))
        purpose = np.append(purpose, np.int8(Purpose.FINISH))
    _check_travel(machine, targets, per_turn)
    return Route(targets, segment, purpose, per_turn, overrun)


def _check_travel(machine: Machine, targets: Steps, per_turn: Fraction) -> None:
    """Raise `PlanError` when a target lies outside the axis's travel (from machine zero, taken as the job's zero)."""
    travel = machine.axis.travel
    if travel == "endless":
        return
    for target, limit, outside in (
        (int(targets.min()), travel.lowest, int(targets.min()) / per_turn < travel.lowest.exact),
        (int(targets.max()), travel.highest, int(targets.max()) / per_turn > travel.highest.exact),
    ):
        if outside:
            angle = float(target / per_turn * 360)
            remedy = "Move mark.start_angle, or shorten the mark, or finish with stay or unwind"
            raise PlanError("target outside axis.travel", angle, "deg", limit.to("deg"), remedy)


def segment_targets(plan: SegmentPlan, per_turn: Fraction) -> Steps:
    """Exact target of each segment: round(S*theta), ties to even. int64, shape (count,)."""
    return np.concatenate(
        [round_progression(block.first * per_turn, block.pitch * per_turn, block.count) for block in plan.blocks]
    )


def _overrun(machine: Machine, job: Job, per_turn: Fraction) -> int:
    """Microsteps to go back before coming on again: the lost motion, and half of it and a full step to be sure."""
    lost = lost_motion_turns(machine, job) * per_turn
    return math.ceil(lost * Fraction(3, 2)) + machine.driver.microsteps


def _with_take_up(
    targets: Steps, segment: NDArray[np.int64], purpose: NDArray[np.int8], overrun: int
) -> tuple[Steps, NDArray[np.int64], NDArray[np.int8]]:
    """Put a move to `overrun` below the target before each one that would not come from below, far enough.

    What the axis did before the job is not known, so the first target needs the whole run even if it lies ahead. A
    later target that is the one before needs no move.
    """
    least = np.zeros(targets.size, dtype=np.int64)
    least[0] = overrun
    backward = np.flatnonzero(np.diff(targets, prepend=np.int64(0)) < least)
    return (
        np.insert(targets, backward, targets[backward] - overrun),
        np.insert(segment, backward, 0),
        np.insert(purpose, backward, np.int8(Purpose.TAKE_UP)),
    )


def _finish_target(job: Job, last: int, per_turn: Fraction) -> int | None:
    """Where the job ends: None stays, unwind goes back to zero, next-turn goes on to a multiple of 360 deg."""
    if job.index.finish == "stay":
        return None
    if job.index.finish == "unwind":
        return 0
    turns = math.ceil(last / per_turn)
    before = round_half_even((turns - 1) * per_turn)
    return before if before >= last else round_half_even(turns * per_turn)


def time_moves(route: Route, speed: float, acceleration: float) -> MoveProgram:
    """The program at a speed (part, rad/s, > 0) and acceleration (part, rad/s^2, > 0): trapezoids and triangles."""
    motion = plan_index(2 * math.pi * route.index_turns, acceleration, speed)
    return MoveProgram(route, speed, acceleration, motion.duration)
