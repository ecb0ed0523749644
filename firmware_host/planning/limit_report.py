"""Whether a machine can make a job's index moves: every limit with its margin, formula and source."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import require_positive
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.assume.assumption import Assumption
from firmware_host.planning.index.extremes import index_extremes
from firmware_host.planning.index.moves import IndexMoves, index_moves
from firmware_host.planning.index.report import IndexAdvice
from firmware_host.planning.index.safe_motion import SafeMotion, motion_for
from firmware_host.planning.limits.accept import acceptable
from firmware_host.planning.limits.check import LimitCheck, Verdict, overall
from firmware_host.planning.limits.worst import worst_checks
from firmware_host.planning.load.case import LoadVariants, load_variants


@dataclass(frozen=True, slots=True)
class LimitReport:
    """All limits of a job's index moves on a machine, and the motion they were checked for (part rad/s, rad/s^2).

    `assumptions`: what nobody stated, each with its range; a check is the worst of them all, and names those it depends
    on. `advice`: how that motion compares with others, where it was asked for (`compare.advice.advised`).
    """

    verdict: Verdict
    checks: tuple[LimitCheck, ...]
    motion: SafeMotion
    assumptions: tuple[Assumption, ...] = ()
    advice: IndexAdvice | None = None


def check_limits(
    machine: Machine,
    job: Job,
    *,
    index_turns: NDArray[np.float64],
    speed: float | None,
    acceleration: float | None,
    purposes: NDArray[np.int8] | None = None,
    loads: LoadVariants | None = None,
) -> LimitReport:
    """Check the index moves of `job` on `machine`.

    `index_turns`: |part turns| of every index, shape (n,), each >= 0; n up to millions. `purposes`: `moves.Purpose` of
    each, by default all indexes. `speed` (part rad/s, > 0) and `acceleration` (part rad/s^2, > 0) are checked as given;
    what is None is chosen by `motion_for`, which raises `LimitExceededError` if nothing is safe. What nobody stated may
    be anything in its range: the motion keeps every limit wherever in its range it is, and each check is the worst.

    `loads`: those of the two, where they are known already. The verdict is that of `check.overall`. All figures are
    estimates from the data given.
    """
    loads = loads if loads is not None else load_variants(machine, job)
    moves = index_moves(index_turns, purposes)
    motion = _motion(loads, moves, speed, acceleration)
    checks = worst_checks(loads, lambda load: index_extremes(load, moves, motion), acceptable(job.accept))
    return LimitReport(overall(checks), checks, motion, loads.assumptions)


def _motion(loads: LoadVariants, moves: IndexMoves, speed: float | None, acceleration: float | None) -> SafeMotion:
    if speed is not None:
        require_positive("index speed", speed, "rad/s")
    if acceleration is not None:
        require_positive("index acceleration", acceleration, "rad/s^2")
    others = loads.other_when_moving()
    return motion_for(loads.unkind.load, moves, speed=speed, acceleration=acceleration, others=others)
