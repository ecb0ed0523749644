"""Whether a machine can make a job's index moves: every limit with its margin, formula and source."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import LimitExceededError
from firmware_host.mechanics.guard import require_positive
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.assume.assumption import Assumption
from firmware_host.planning.guess import Guess
from firmware_host.planning.index.extremes import index_extremes
from firmware_host.planning.index.moves import IndexMoves, index_moves
from firmware_host.planning.index.report import IndexAdvice
from firmware_host.planning.index.safe_motion import SafeMotion, motion_for
from firmware_host.planning.index.swings import SwingsByLoad
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.limits.accept import acceptable
from firmware_host.planning.limits.case import IndexExtremes
from firmware_host.planning.limits.check import LimitCheck, Verdict, overall
from firmware_host.planning.limits.motor.start_jump import StartJump
from firmware_host.planning.limits.worst import worst_checks
from firmware_host.planning.load.case import LoadCase, LoadVariants, load_variants
from firmware_host.planning.load.start import NO_JUMP


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

    @property
    def reasons(self) -> tuple[str, ...]:
        """Names of the checks that the verdict comes from; none where it holds."""
        if self.verdict is Verdict.HOLDS:
            return ()
        same = (check for check in self.checks if check.verdict is self.verdict)
        return tuple(check.name for check in same if check.stops == self.verdict.stops)

    @property
    def tightest(self) -> LimitCheck | None:
        """The limit with the least margin among those that make the verdict, so no rough estimate hides a failure."""
        known = [(check.margin, check) for check in self.checks if check.margin is not None]
        grave = [pair for pair in known if pair[1].verdict is self.verdict]
        least = min(grave or known, key=lambda pair: pair[0], default=None)
        return least[1] if least is not None else None


def check_limits(
    machine: Machine,
    job: Job,
    *,
    index_turns: NDArray[np.float64],
    speed: float | None,
    acceleration: float | None,
    purposes: NDArray[np.int8] | None = None,
    loads: LoadVariants | None = None,
    check: Check = never,
    guess: Guess | None = None,
) -> LimitReport:
    """Check the index moves of `job` on `machine`.

    `index_turns`: |part turns| of every index, shape (n,), each >= 0; n up to millions. `purposes`: `moves.Purpose` of
    each, by default all indexes. `speed` (part rad/s, > 0) and `acceleration` (part rad/s^2, > 0) are checked as given;
    what is None is chosen by `motion_for`, which raises `LimitExceededError` if nothing is safe. What nobody stated may
    be anything in its range: the motion keeps every limit wherever in its range it is, and each check is the worst.

    `loads`: those of the two, where they are known already. `check` is called at least each 50 ms of computing and may
    raise. `guess`: as in `motion_for`. The verdict is that of `check.overall`. All figures are estimates from the data
    given.
    """
    loads = loads if loads is not None else load_variants(machine, job)
    moves = index_moves(index_turns, purposes)
    swings = SwingsByLoad(moves, check)
    motion = _motion(loads, moves, speed, acceleration, swings, guess)

    def extremes(load: LoadCase) -> IndexExtremes:
        return index_extremes(load, moves, motion, swings.of(load))

    checks = worst_checks(loads, extremes, acceptable(job.accept))
    return LimitReport(overall(checks), checks, motion, loads.assumptions)


def _motion(
    loads: LoadVariants,
    moves: IndexMoves,
    speed: float | None,
    acceleration: float | None,
    swings: SwingsByLoad,
    guess: Guess | None,
) -> SafeMotion:
    if speed is not None:
        require_positive("index speed", speed, "rad/s")
    if acceleration is not None:
        require_positive("index acceleration", acceleration, "rad/s^2")
    load, others = loads.unkind.load, loads.other_when_moving()
    try:
        return motion_for(
            load, moves, speed=speed, acceleration=acceleration, others=others, swings=swings.of(load), guess=guess
        )
    except LimitExceededError as error:
        if load.start == NO_JUMP:
            raise
        jump = math.degrees(load.start.speed)
        detail = f"the controller begins and ends each move with {jump:.4g} deg/s of the part at once: set that lower"
        raise replace(error, details=(f"{StartJump.name}: {detail}", *error.details)) from error
