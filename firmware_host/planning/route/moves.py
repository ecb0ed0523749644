"""The move program: exact targets for every segment, the approach, the finish, and how long each move takes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import IntEnum
from fractions import Fraction
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import PlanError
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.layout.lost_motion import lost_motion_turns
from firmware_host.planning.layout.seams import lost_motion_matters
from firmware_host.planning.layout.segments import SegmentPlan
from firmware_host.planning.route.angles import SegmentAngles
from firmware_host.planning.route.coordinates import LARGEST_STEPS, StoredScale, proved_reach
from firmware_host.planning.route.pieces import Ramp, stopping_time
from firmware_host.planning.route.short_moves import beside, detour, long_enough, too_short
from firmware_host.planning.route.unwinding import NOT_UNWOUND, UNWIND_FIX, Span, TurnsBack, Unwinder, require_travel
from firmware_host.planning.route.velocity import plan_index
from firmware_host.planning.steps import Steps, round_half_even

Floats = NDArray[np.float64]


class Purpose(IntEnum):
    """What a move is for."""

    INDEX = 0
    TAKE_UP = 1
    FINISH = 2
    UNWIND = 3

    @property
    def word(self) -> str:
        """The purpose in words."""
        return self.name.lower().replace("_", "-")


@dataclass(frozen=True)
class Route:
    """Where the axis goes, in order: arrays of shape (n,) over all moves, microsteps from the job's zero.

    `segment` counts from 1 and is 0 for a move that ends at no segment; `purpose` holds `Purpose` values.
    `per_part_turn` is the exact number of microsteps in one turn of the part. `overrun`: microsteps to go back before
    coming on again where lost motion has to be taken up; 0 if targets may be approached from both sides.
    `angles`: the exact angles of the segments, and `finish` that of the end position (turns; None: the part stays).
    `goes_back`: the job ends where it began. Where whole turns are taken back, as far as that is known beforehand,
    `targets` has them taken back already. `shortest`: the controller makes no move of fewer microsteps, so it goes by
    way of a place beside the target, which is not below `floor` (microsteps).
    """

    targets: Steps
    segment: NDArray[np.int64]
    purpose: NDArray[np.int8]
    per_part_turn: Fraction
    overrun: int
    angles: SegmentAngles
    finish: Fraction | None = None
    goes_back: bool = False
    shortest: int = 1
    floor: int | None = None

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
        """Targets of the segments alone, in order, no turns taken back, shape (segments,)."""
        return self.angles.targets(self.per_part_turn)

    @property
    def below(self) -> int:
        """How far below its target a move may go before it comes to it (microsteps)."""
        return self.overrun + detour(self.shortest)

    @property
    def too_short(self) -> int:
        """How many moves of the job are too short for the controller by themselves, so that they go past and back."""
        targets = self.targets[self.purpose != Purpose.TAKE_UP]
        return int(np.count_nonzero(too_short(np.diff(targets, prepend=np.int64(0)), self.shortest)))

    @property
    def least_move(self) -> int:
        """The shortest move of the job (microsteps, >= 1), take-ups left out; 1 if it has none."""
        moves = np.abs(np.diff(self.targets[self.purpose != Purpose.TAKE_UP], prepend=np.int64(0)))
        return int(moves[moves > 0].min(initial=np.iinfo(np.int64).max)) if moves.any() else 1

    def made_with(self, shortest: int, floor: int | None) -> Route:
        """The same for a controller that makes no move of fewer than `shortest` microsteps either; `targets` stay."""
        shortest = max(shortest, self.shortest)
        overrun = max(self.overrun, detour(shortest)) if self.overrun else 0
        return replace(self, shortest=shortest, floor=floor, overrun=overrun)

    def way(self, target: int, start: int, *, taken_up: bool = False) -> tuple[int, ...]:
        """Where to go, one place after the other, from `start` to `target`.

        First to below it where lost motion is to be taken up (`taken_up`: the last move has done so), or to a place
        beside it where the move would be too short.
        """
        delta = np.array([target - start])
        short = bool(too_short(delta, self.shortest)[0])
        if self.overrun and (short or target - start < (0 if taken_up else self.overrun)):
            return target - int(long_enough(delta, self.overrun, self.shortest)[0]), target
        return self.straight(target, start) if short else (target,)

    def led_from(self, targets: Steps) -> Iterator[Steps]:
        """From where moves to `targets` (shape (n,)) may be led in, each as an array like it."""
        if self.overrun:
            yield targets - np.int64(self.overrun)
        if self.shortest > 1:
            yield targets - np.int64(self.below) if self.overrun else beside(targets, self.shortest, self.floor)

    def straight(self, target: int, start: int) -> tuple[int, ...]:
        """The same where lost motion does not matter."""
        if not too_short(np.array([target - start]), self.shortest)[0]:
            return (target,)
        return int(beside(np.array([target]), self.shortest, self.floor)[0]), target

    def finish_target(self, turns: int = 0) -> int | None:
        """Where the axis ends with so many turns taken back; None if it stays."""
        return None if self.finish is None else round_half_even((self.finish - turns) * self.per_part_turn)

    def unwinder(self, span: Span) -> Unwinder:
        """What finds the turns to take back so that the axis keeps within `span`."""
        return Unwinder(self.angles, self.per_part_turn, self.overrun, span)


@dataclass(frozen=True)
class MoveProgram:
    """A route with speed (part, rad/s), acceleration (part, rad/s^2) and durations (s, shape (n,))."""

    route: Route
    speed: float
    acceleration: float
    durations: Floats

    def angles_deg(self) -> Floats:
        """Angle of the part after each move, degrees, shape (n,)."""
        return np.asarray(self.route.targets * (360.0 / float(self.route.per_part_turn)), dtype=np.float64)

    def stopping_s(self, *, in_pieces: bool) -> float:
        """How long a stop takes at the most (s); `in_pieces` as in `stopping_time`."""
        per_rad = float(self.route.per_part_turn) / (2 * math.pi)
        longest = int(np.abs(self.route.deltas).max(initial=0))
        ramp = Ramp(self.speed * per_rad, self.acceleration * per_rad)
        return stopping_time(longest, ramp, in_pieces=in_pieces, shortest=self.route.shortest)

    def way_s(self, target: int, start: int, *, taken_up: bool = False) -> float:
        """How long the way of `Route.way` takes, s, from rest to rest at each of its places."""
        places = np.array([start, *self.route.way(target, start, taken_up=taken_up)], dtype=np.int64)
        turned = 2 * math.pi / float(self.route.per_part_turn) * np.abs(np.diff(places))
        return float(plan_index(turned, self.acceleration, self.speed).duration.sum())

    def rows(self) -> Iterator[tuple[int, Purpose, int, int, float, float]]:
        """(segment, purpose, target, delta, angle in degrees, duration in s) of each move, in order."""
        route = self.route
        columns = (route.segment, route.purpose, route.targets, route.deltas, self.angles_deg(), self.durations)
        for segment, purpose, target, delta, angle, duration in zip(*(c.tolist() for c in columns), strict=True):
            yield segment, Purpose(purpose), target, delta, angle, duration


def plan_route(machine: Machine, job: Job, plan: SegmentPlan) -> Route:
    """Exact microstep targets for every segment, with take-up moves where lost motion matters, and the finish.

    Whole turns are taken back where a target would leave the axis's travel, or the reach of a controller that stands at
    machine zero and holds the steps-per-unit that it is told to. Raises `PlanError` for a target that no whole number
    of turns brings into the travel, or that leaves travel or arithmetic where `axis.unwind` is "never".
    """
    per_turn = machine.microsteps_per_part_turn(job.part.contact)
    angles = SegmentAngles(plan.blocks)
    approach = job.index.approach
    one_side = approach == "one-side" or (approach == "auto" and lost_motion_matters(machine, job))
    overrun = _overrun(machine, job, per_turn) if one_side else 0
    finish = _finish_angle(job, angles, per_turn)
    goes_back = job.index.finish == "unwind"
    bare = np.zeros(0, dtype=np.int64)
    route = Route(bare, bare, bare.astype(np.int8), per_turn, overrun, angles, finish, goes_back)
    travel = Span.of_travel(machine.axis, per_turn, 0)
    route = route.made_with(machine.link.stated.shortest_move or 1, travel.lowest if travel is not None else None)
    return unwound_route(route, _turns_back(machine, route))


def _turns_back(machine: Machine, route: Route) -> TurnsBack:
    """The turns to take back, as far as they are known before a controller is: none where the reach is too short."""
    if not machine.axis.unwinds:
        _require_unwound(machine, route)
        return NOT_UNWOUND
    reach = _reach(machine.steps_per_axis_unit)
    travel = Span.of_travel(machine.axis, route.per_part_turn, 0)
    spans = [span for span in (Span.around_zero(reach, 0).within(travel), travel) if span is not None]
    as_it_lies = extent(route, NOT_UNWOUND)
    for span in spans:
        if span.holds(*as_it_lies):
            return NOT_UNWOUND
        taken = route.unwinder(span).turns_back(route.finish, goes_back=route.goes_back)
        lowest, highest = extent(route, taken)
        if span.holds(lowest, highest):
            return taken
    if travel is None:
        return NOT_UNWOUND  # whether a controller can tell the targets apart is known once it is asked
    require_travel(machine.axis, lowest, highest, route.per_part_turn)
    return taken


def _require_unwound(machine: Machine, route: Route) -> None:
    """Raise `PlanError` when the route as it lies leaves the axis's travel, or what 32-bit arithmetic can count."""
    lowest, highest = extent(route, NOT_UNWOUND)
    require_travel(machine.axis, lowest, highest, route.per_part_turn)
    farthest = max(-lowest, highest)
    if farthest > LARGEST_STEPS:
        what = "target too far from zero for the controller's 32-bit arithmetic"
        raise PlanError(what, farthest, "steps", LARGEST_STEPS, f"Shorten the job, or {UNWIND_FIX}")


def extent(route: Route, taken: TurnsBack) -> tuple[int, int]:
    """Lowest and highest position on the route when it is wound like that, every possible take-up included."""
    lowest, highest = [], []
    for start, stop, turns in taken.stretches(route.angles.count):
        least, most = route.angles.extremes(start, stop)
        below = route.below if route.overrun else 0  # a detour alone is made on the side where there is room
        lowest.append(round_half_even((least - turns) * route.per_part_turn) - below)
        highest.append(round_half_even((most - turns) * route.per_part_turn))
    if (finish := route.finish_target(taken.finish)) is not None:
        lowest.append(finish)
        highest.append(finish)
    return min(lowest), max(highest)


def beyond_reach(machine: Machine, route: Route) -> tuple[int, int] | None:
    """Farthest position of a route (microsteps), and the reach that it is beyond; None if all of it is within reach.

    For a job that begins at machine zero of a controller that holds the steps-per-unit it is told to: within the reach
    (`proved_reach`) every target is sure to be landed on.
    """
    ends = [int(route.targets.min(initial=0)), int(route.targets.max(initial=0))]
    farthest = max(-ends[0], ends[1])
    reach = _reach(machine.steps_per_axis_unit)
    return (farthest, reach) if farthest > reach else None


@lru_cache(maxsize=64)
def _reach(steps_per_unit: Fraction) -> int:
    """How far a controller reaches (microsteps) that holds the steps-per-unit that it is told to."""
    return proved_reach(StoredScale.as_written(steps_per_unit))


def unwound_route(route: Route, taken: TurnsBack) -> Route:
    """The moves of a route with whole turns taken back: an unwinding move leads to each stretch that asks for one."""
    count = route.angles.count
    stretches = taken.stretches(count)
    per_turn = route.per_part_turn
    targets = np.concatenate([route.angles.targets(per_turn, turns, start, stop) for start, stop, turns in stretches])
    least = np.zeros(count, dtype=np.int64)
    least[0] = route.overrun
    # What the axis did before the job is not known, so the first target needs the whole run even if it lies ahead. A
    # later target that is the one before needs no move.
    unwound = np.zeros(count, dtype=np.bool_)
    unwound[[start for (start, _, now), before in zip(stretches, (0, *taken.turns), strict=False) if now != before]] = 1
    deltas = np.diff(targets, prepend=np.int64(0))
    short = too_short(deltas, route.shortest)
    led = unwound | short | ((deltas < least) if route.overrun else False)
    if route.overrun:
        places = targets - long_enough(deltas, route.overrun, route.shortest)
    else:
        places = np.where(short, beside(targets, route.shortest, route.floor), targets)
    finish = route.finish_target(taken.finish)
    way = route.straight(finish, int(targets[-1])) if finish is not None else ()
    rows = np.flatnonzero(led)
    own = np.arange(count) + np.cumsum(led)
    moves = count + rows.size + len(way)
    to, segment = np.empty(moves, dtype=np.int64), np.zeros(moves, dtype=np.int64)
    purpose = np.full(moves, Purpose.INDEX, dtype=np.int8)
    to[own], segment[own] = targets, np.arange(1, count + 1)
    to[own[rows] - 1] = places[rows]
    purpose[own[rows] - 1] = np.where(unwound[rows], Purpose.UNWIND, Purpose.TAKE_UP)
    if way:
        to[-len(way) :] = way
        purpose[-len(way) :] = [Purpose.TAKE_UP, Purpose.FINISH][-len(way) :]
    return replace(route, targets=to, segment=segment, purpose=purpose)


def segment_targets(plan: SegmentPlan, per_turn: Fraction) -> Steps:
    """Exact target of each segment: round(S*theta), ties to even. int64, shape (count,)."""
    return SegmentAngles(plan.blocks).targets(per_turn)


def _overrun(machine: Machine, job: Job, per_turn: Fraction) -> int:
    """Microsteps to go back before coming on again: the lost motion, and half of it and a full step to be sure."""
    lost = lost_motion_turns(machine, job) * per_turn
    return math.ceil(lost * Fraction(3, 2)) + machine.driver.microsteps


def _finish_angle(job: Job, angles: SegmentAngles, per_turn: Fraction) -> Fraction | None:
    """Where the job ends, in turns: None stays, unwind goes back to zero, next-turn continues to a whole turn."""
    if job.index.finish == "stay":
        return None
    if job.index.finish == "unwind":
        return Fraction(0)
    last = angles.target(angles.count - 1, per_turn)
    turns = math.ceil(last / per_turn)
    return Fraction(turns - 1 if round_half_even((turns - 1) * per_turn) >= last else turns)


def time_moves(route: Route, speed: float, acceleration: float) -> MoveProgram:
    """The program at a speed (part, rad/s, > 0) and acceleration (part, rad/s^2, > 0): trapezoids and triangles."""
    motion = plan_index(2 * math.pi * route.index_turns, acceleration, speed)
    return MoveProgram(route, speed, acceleration, motion.duration)
