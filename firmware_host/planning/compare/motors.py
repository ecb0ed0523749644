"""Every motor of a library on the same machine and job: which ones do, how quick each is, and what holds it back."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import CoordinateError, LimitExceededError
from firmware_host.mechanics.guard import FloatArray
from firmware_host.model.files.loading import Setup
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.motor import Motor
from firmware_host.planning.compare.cost import LimitCost, limit_costs
from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.index.safe_motion import SafeMotion
from firmware_host.planning.index.timing import IndexTiming
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.limits.motor.torque import TorqueAccelerating, TorqueBraking, TorquePeak
from firmware_host.planning.load.case import load_case
from firmware_host.planning.plan import JobPlan, plan_job

_TORQUE_CHECKS = tuple(limit.name for limit in (TorqueAccelerating, TorqueBraking, TorquePeak))
_TIME_DIGITS = 4  # to a tenth of a millisecond indexes count as equally quick


@dataclass(frozen=True, slots=True)
class MotorCandidate:
    """One motor on the machine, with the driver set to `current_text`.

    `reasons`: names of the checks that fail; of those that aren't known where the verdict is `not known`. `details`:
    more words on them. `torque_margin`: the smallest of the torque checks. `motion` is None where no motion is safe or
    none can be found. `costs`: what each limit in the way costs. `best`: no other motor that holds is both quicker and
    further from its torque limit (the Pareto set). `not_known`: checks that nobody can make without the motor's own
    data; `assumed`: keys of the motor that a check takes at the unkind end of a range. With either it is judged and
    ranked `on_what_is_known`.
    """

    name: str
    motor: Motor
    current_text: str
    verdict: Verdict
    reasons: tuple[str, ...] = ()
    details: tuple[str, ...] = ()
    torque_margin: float | None = None
    motion: SafeMotion | None = None
    costs: tuple[LimitCost, ...] = ()
    best: bool = False
    not_known: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()

    @property
    def on_what_is_known(self) -> bool:
        """Whether a datum of the motor is missing, so that the verdict stands on the others and on what is assumed."""
        return bool(self.not_known or self.assumed)

    @property
    def timing(self) -> IndexTiming | None:
        """What an average index takes, settling included."""
        return self.motion.timing if self.motion is not None else None


def compare_motors(
    setup: Setup, motors: Mapping[str, Motor], *, plan: Callable[[Setup], JobPlan] = plan_job
) -> tuple[MotorCandidate, ...]:
    """Plan the job with each of `motors` (by name) in the machine: those that hold first, the quickest of them first.

    The driver is set to the candidate's rated current, or to `driver.highest_current` if that is less; its standstill
    share, supply and microsteps stay, and so does the rest of the machine. Each motor gets its own quickest safe motion
    unless the job states one. What a motor's data leave open is taken at its worst (`planning.assume`).

    Raises what `plan_job` raises where it isn't the motor's doing (a part that fits no drive, a bad mesh file).
    """
    found = [_candidate(setup, name, motor, plan) for name, motor in motors.items()]
    return tuple(sorted(_with_best(found), key=_rank))


def machine_with(machine: Machine, motor: Motor) -> Machine:
    """The machine with another motor, its driver at the rated current or at the highest that the driver can set."""
    most = machine.driver.highest_current
    within = most is None or motor.rated_current.exact <= most.exact
    current = motor.rated_current if within or most is None else most
    driver = machine.driver.model_copy(update={"current": current})
    return machine.with_motor(motor, driver)


def pareto_set(index_s: FloatArray, torque_margin: FloatArray) -> NDArray[np.bool_]:
    """Which points no other beats: less or equal in time and more or equal in margin, and better in one. Shape (n,).

    Equal points don't beat each other. From the quickest on, a point stays if its margin exceeds every earlier one's.
    """
    order = np.lexsort((-torque_margin, index_s))
    stays = np.zeros(index_s.size, dtype=np.bool_)
    most, last = -np.inf, None
    for i in order.tolist():
        point = (float(index_s[i]), float(torque_margin[i]))
        if point[1] > most or point == last:
            stays[i] = True
            most, last = point[1], point
    return stays


def _candidate(setup: Setup, name: str, motor: Motor, make_plan: Callable[[Setup], JobPlan]) -> MotorCandidate:
    machine = machine_with(setup.machine, motor)
    bare = MotorCandidate(name, motor, str(machine.driver.current), Verdict.FAILS)
    load, request = load_case(machine, setup.job), setup.job.index
    try:
        plan = make_plan(replace(setup, machine=machine))
    except LimitExceededError as error:
        return replace(bare, reasons=error.checks, details=error.details)
    except CoordinateError as error:
        return replace(bare, reasons=("coordinates",), details=(str(error),))
    report = plan.limits
    margins = [check.margin for check in report.checks if check.name in _TORQUE_CHECKS and check.margin is not None]
    moves = index_moves(plan.route.index_turns, plan.route.purpose)
    return replace(
        bare,
        verdict=report.verdict,
        reasons=report.reasons,
        details=_details(report),
        torque_margin=min(margins, default=None),
        motion=report.motion,
        costs=limit_costs(load, moves, report.motion, request),
        not_known=tuple(check.name for check in report.checks if any(map(_of_motor, check.missing))),
        assumed=tuple(dict.fromkeys(key for check in report.checks for key in check.assumed if _of_motor(key))),
    )


def _of_motor(key: str) -> bool:
    return key.startswith("motor.")


def _details(report: LimitReport) -> tuple[str, ...]:
    return tuple(
        f"{check.name}: {check.value:.4g}, limit {check.limit:.4g} {check.unit}".rstrip() + f". {check.remedy}"
        for check in report.checks
        if check.verdict is Verdict.FAILS and check.value is not None and check.limit is not None
    )


def _with_best(candidates: Iterable[MotorCandidate]) -> list[MotorCandidate]:
    found = list(candidates)
    usable = [
        (place, round(each.motion.timing.index_s, _TIME_DIGITS), each.torque_margin)
        for place, each in enumerate(found)
        if not each.verdict.stops and each.motion is not None and each.torque_margin is not None
    ]
    if usable:
        places, times, margins = zip(*usable, strict=True)
        for place, stays in zip(places, pareto_set(np.array(times), np.array(margins)).tolist(), strict=True):
            found[place] = replace(found[place], best=stays)
    return found


def _rank(candidate: MotorCandidate) -> tuple[int, float, float, str]:
    timing = candidate.timing
    return (
        candidate.verdict.gravity,
        round(timing.index_s, _TIME_DIGITS) if timing is not None else np.inf,
        -candidate.torque_margin if candidate.torque_margin is not None else np.inf,
        candidate.name,
    )
