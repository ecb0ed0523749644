"""How a person at the keys may turn the part: each move within the limits, of the part that a job describes or of any.

The acceleration is one for all moves, because a controller has it stored; the speed is found for each move. With a job
the acceleration is the job's own, and its speed is the most. Without one nobody knows the part: then the motion is that
of the heaviest steel cylinder that the motor can turn at all, and it has to be safe for the lighter ones as well.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

import numpy as np

from firmware_host.errors import InputError, LimitExceededError, PlanError
from firmware_host.model.files.loading import Setup, job_from
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.ramp import Ramp
from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.index.search import IndexSearch, Pair
from firmware_host.planning.index.swings import MoveSwings
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.limit_report import LimitReport, check_limits
from firmware_host.planning.limits.accept import require_may_move, stopping
from firmware_host.planning.limits.check import NARROW_MARGIN
from firmware_host.planning.load.case import LoadVariants, load_variants
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.planning.route.moves import time_moves
from firmware_host.units import Quantity

TURNS = tuple(Fraction(deg, 360) for deg in (Fraction(1, 10), 1, 5, 15, 45, 90, 360))
"""Moves that an acceleration has to be safe for where no job says it, turns; beside them a single microstep."""
CALM = math.pi / 2
"""So quickly a hand turns the part where it may (rad/s): a quarter turn in a second; common practice, no source."""
_CUBES_MM = (630, 500, 400, 315, 250, 200, 160, 125, 100, 80, 63, 50, 40, 32, 25, 20, 16, 12, 10)
_LENGTHS = (8.0, 4.0, 2.0, 1.0, 0.5, 0.25, 0.125)
"""Length over diameter, where the diameter is known."""
_STEEL = "7850 kg/m^3"
_PAUSE = "5 s"
"""How often the part is turned, on average: common practice, no source."""
_MOST_CLIMB, _HALVINGS = 20.0, 20
"""How far above the quickest motion a higher acceleration is looked for, and in how many halvings of the ratio."""
_LIGHTER = 3
"""So many of the lighter parts are looked at, the lightest among them."""


@dataclass(frozen=True, slots=True)
class Pace:
    """How quick one move is: `acceleration` (rad/s^2) and `speed` (rad/s) of the part, both > 0."""

    acceleration: float
    speed: float


@dataclass(frozen=True, eq=False)
class _Case:
    """One part that may be the one in the machine; `given`: the checks that fail however slowly it is turned."""

    setup: Setup
    loads: LoadVariants
    given: frozenset[str]

    def speed(self, turns: float, acceleration: float, most: float, check: Check) -> float:
        """A calm safe speed of a move (part rad/s), at most `most`. Raises `LimitExceededError` if none is safe."""
        for speed in dict.fromkeys((min(CALM, most), most)):
            if not self._stops(self._report(turns, acceleration, speed, check)):
                return speed
        found = self._report(turns, acceleration, None, check).motion.speed
        speed = min(found, most)
        report = self._report(turns, acceleration, speed, check)
        if self._stops(report):
            require_may_move(each for each in report.checks if each.name not in self.given)
        return speed

    def untried(self) -> _Case:
        """The same without what was tried on the machine: what is to be tried anew is no limit of it."""
        machine = self.setup.machine
        if machine.ramp.acceleration is None:
            return self
        setup = replace(self.setup, machine=machine.model_copy(update={"ramp": Ramp()}))
        return _Case(setup, load_variants(setup.machine, setup.job), self.given)

    def require(self, turns: Sequence[float], pace: Pace, check: Check) -> None:
        """Raise `LimitExceededError` where a limit stops moves so quick."""
        report = _checked(self.setup, self.loads, turns, pace.speed, pace.acceleration, check)
        require_may_move(each for each in report.checks if each.name not in self.given)

    def quickest(self, turns: float, check: Check) -> Pace:
        """The highest acceleration with every limit's reserve kept, at the speed of the quickest move."""
        motion = self._report(turns, None, None, check).motion
        moves = index_moves(np.array([turns]))
        loads = [self.loads.unkind.load, *self.loads.other_when_moving()]
        search = IndexSearch(loads, moves, NARROW_MARGIN, swings=MoveSwings(loads[0], moves, check))

        def kept(acceleration: float) -> bool:
            return max(search.shares(Pair(acceleration, motion.speed, 0.0)).values()) <= 1

        low, high = motion.acceleration, motion.acceleration * _MOST_CLIMB
        for _ in range(_HALVINGS):
            middle = math.sqrt(low * high)
            low, high = (middle, high) if kept(middle) else (low, middle)
        return Pace(low, motion.speed)

    def _report(self, turns: float, acceleration: float | None, speed: float | None, check: Check) -> LimitReport:
        return _checked(self.setup, self.loads, [turns], speed, acceleration, check)

    def _stops(self, report: LimitReport) -> bool:
        return any(each.name not in self.given for each in stopping(report.checks))


class HandPlan:
    """How far, and how quickly, a hand may turn the part.

    `plan` is what the controller's settings are compared with; `acceleration` (part rad/s^2) and `most_speed` (part
    rad/s) are those of every move; `part` says for which part, `of_job` whether a job describes it. `per_turn`:
    microsteps in one turn of the part, exactly.
    """

    def __init__(
        self, setup: Setup, plan: JobPlan, cases: Iterable[_Case], *, part: str, of_job: bool, known: bool
    ) -> None:
        self.setup = setup
        self.plan = plan
        self.part = part
        self.of_job = of_job
        self.acceleration = plan.program.acceleration
        self.most_speed = plan.program.speed
        self.per_turn: Fraction = plan.route.per_part_turn
        self.diameter = setup.job.part.diameter.si if known else None
        """Where the part is marked, m; None if nobody has said it."""
        self._cases = tuple(cases)
        self._speeds: dict[float, float] = {}
        self._quickest: dict[float, Pace] = {}
        self._allowed: set[tuple[float, Pace, int]] = set()

    @property
    def machine(self) -> Machine:
        """The machine."""
        return self.setup.machine

    def speed(self, microsteps: int, check: Check = never) -> float:
        """The speed (part, rad/s) at which a move of so many microsteps keeps every limit.

        Raises `LimitExceededError` where none does. `check` as in `check_limits`.
        """
        turns = abs(microsteps) / float(self.per_turn)
        if turns == 0:
            return self.most_speed
        if turns not in self._speeds:
            self._speeds[turns] = self._found(turns, check)
        return self._speeds[turns]

    def require_pace(self, microsteps: int, pace: Pace, check: Check = never) -> None:
        """Raise `LimitExceededError` where a move of so many microsteps at that pace is stopped by a limit.

        What was tried on the machine is left out (`Machine.ramp`): a trial would never find more.
        """
        self.require_paces((microsteps,), pace, check)

    def require_paces(self, microsteps: Iterable[int], pace: Pace, check: Check = never) -> None:
        """As `require_pace`, for moves of several lengths at once."""
        lengths = {abs(each) / float(self.per_turn) for each in microsteps} - {0.0}
        for case in self._untried:
            asked = {(turns, pace, id(case)) for turns in lengths} - self._allowed
            if asked:
                case.require(sorted(turns for turns, *_ in asked), pace, check)
                self._allowed |= asked

    def quickest(self, turns: Fraction, check: Check = never) -> Pace:
        """The quickest that limits, with their reserve, allow a move of so many turns of the part; see `require_pace`.

        Its speed is that of the quickest move, settling included; its acceleration the highest at that speed.
        """
        way = abs(float(turns))
        if way not in self._quickest:
            found = [case.quickest(way, check) for case in self._untried]
            self._quickest[way] = Pace(min(each.acceleration for each in found), min(each.speed for each in found))
        return self._quickest[way]

    @cached_property
    def _untried(self) -> tuple[_Case, ...]:
        return tuple(case.untried() for case in self._cases)

    def _found(self, turns: float, check: Check) -> float:
        """One speed at which the limits hold whichever part it is."""
        speed, most = 0.0, self.most_speed
        while speed != most:  # a lower one that one part asks for is looked at for the others, too
            speed, most = most, min(case.speed(turns, self.acceleration, most, check) for case in self._cases)
        return speed


def hand_on_job(setup: Setup, check: Check = never) -> HandPlan:
    """How the part of a job may be turned by hand: with the job's own acceleration, never quicker than the job.

    Raises as `plan_job`, and `LimitExceededError` if a limit stops the job.
    """
    plan = plan_job(setup, check=check)
    require_may_move(plan.limits.checks)
    case = _Case(setup, load_variants(setup.machine, setup.job), frozenset())
    return HandPlan(setup, plan, [case], part="the job's part", of_job=True, known=True)


def hand_on_machine(
    machine: Machine, diameter: Quantity | None = None, *, source: str = "", check: Check = never
) -> HandPlan:
    """How a part that nobody describes may be turned; `diameter` if it is known.

    Rollers turn a part by its diameter, so there it is needed (`InputError`). `LimitExceededError` where no part of the
    ladder could be turned within all limits; `source`: the machine's file, for errors.
    """
    if machine.drive.cradle is not None and diameter is None:
        problem = "how far the part turns on rollers depends on its diameter, and only a job says that"
        raise InputError(problem, "Name a job instead of the machine, or say --diameter", source=source, key="diameter")
    cases, refused = [], None
    acceleration = 0.0
    for setup in _parts(machine, diameter, source):
        try:
            loads = load_variants(setup.machine, setup.job)
            per_turn = setup.machine.microsteps_per_part_turn(setup.job.part.contact)
            turns = [float(1 / per_turn), *map(float, TURNS)]
            report = _checked(setup, loads, turns, None, acceleration or None, check)
        except (LimitExceededError, PlanError) as error:
            refused = error
            continue
        if not acceleration:
            acceleration, speed, heaviest = report.motion.acceleration, report.motion.speed, setup
        cases.append((_Case(setup, loads, frozenset(each.name for each in stopping(report.checks))), report))
    if not cases and refused is not None:
        raise refused
    if all(case.given for case, _ in cases):
        require_may_move(cases[-1][1].checks)
    within = next(report for case, report in cases if not case.given)
    plan = _plan(heaviest, speed, acceleration, within)
    return HandPlan(
        heaviest,
        plan,
        _some([case for case, _ in cases]),
        part=_described(heaviest),
        of_job=False,
        known=diameter is not None,
    )


def _some(cases: list[_Case]) -> list[_Case]:
    """The heaviest, and some of the lighter ones down to the lightest."""
    places = np.linspace(0, len(cases) - 1, min(len(cases), 1 + _LIGHTER)).round().astype(int)
    return [cases[place] for place in dict.fromkeys(places.tolist())]


def _parts(machine: Machine, diameter: Quantity | None, source: str) -> Iterable[Setup]:
    """Steel cylinders, the heaviest first; those that the machine can't hold at all are left out."""
    sizes = [(diameter.si * 1e3, share) for share in _LENGTHS] if diameter else [(size, 1.0) for size in _CUBES_MM]
    for across_mm, share in sizes:
        try:
            yield _setup(machine, across_mm, share * across_mm, source)
        except InputError:
            if (across_mm, share) == sizes[-1]:
                raise


def _setup(machine: Machine, across_mm: float, along_mm: float, source: str) -> Setup:
    across, along = f"{across_mm:.9g} mm", f"{along_mm:.6g} mm"
    part = {"kind": "solid", "diameter": across, "length": along, "density": _STEEL}
    tables = {
        "version": 1,
        "name": "a part that nobody describes",
        "machine": machine.name,
        "part": part,
        "mark": {"angle": "360 deg", "pass_time": _PAUSE},
        "window": {"half_depth": "1 mm"},
    }
    return job_from(tables, machine=machine, source=source or "the part in the machine")


def _plan(setup: Setup, speed: float, acceleration: float, report: LimitReport) -> JobPlan:
    """The plan of a mark around the heaviest part, with the motion and the limits of the hand's moves."""
    plan = plan_job(setup)
    return replace(plan, program=time_moves(plan.route, speed, acceleration), limits=report)


def _described(setup: Setup) -> str:
    part = setup.job.part
    return f"steel, {part.diameter.si * 1e3:.4g} mm across and {part.whole_length.si * 1e3:.4g} mm long"


def _checked(
    setup: Setup,
    loads: LoadVariants,
    turns: Iterable[float],
    speed: float | None,
    acceleration: float | None,
    check: Check,
) -> LimitReport:
    return check_limits(
        setup.machine,
        setup.job,
        index_turns=np.array(list(turns)),
        speed=speed,
        acceleration=acceleration,
        loads=loads,
        check=check,
    )
