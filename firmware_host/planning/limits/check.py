"""Whether a machine can make a job's index moves: every limit with its margin, formula and source."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import require_positive
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.index.moves import IndexMoves, index_moves
from firmware_host.planning.index.ringing import largest_peaks
from firmware_host.planning.index.safe_motion import SafeMotion, motion_for
from firmware_host.planning.limits.case import IndexExtremes, LimitCase
from firmware_host.planning.limits.heat import heat_checks, supply_checks
from firmware_host.planning.limits.motion import CHECKS
from firmware_host.planning.limits.overhang import overhang_check
from firmware_host.planning.limits.report import LimitReport, overall
from firmware_host.planning.limits.rollers import ROLLER_CHECKS
from firmware_host.planning.limits.supports import SUPPORT_CHECKS
from firmware_host.planning.load.case import LoadCase, load_case
from firmware_host.planning.route.velocity import plan_index

CASE_CHECKS = (*ROLLER_CHECKS, overhang_check, *SUPPORT_CHECKS, heat_checks, supply_checks)
"""Every check that looks at machine and job as well, in the order they are shown. One more limit registers here."""


def check_limits(
    machine: Machine,
    job: Job,
    *,
    index_turns: NDArray[np.float64],
    speed: float | None,
    acceleration: float | None,
    purposes: NDArray[np.int8] | None = None,
) -> LimitReport:
    """Check the index moves of `job` on `machine`.

    `index_turns`: |part turns| of every index, shape (n,), each >= 0; n up to millions. `purposes`: `moves.Purpose` of
    each, by default all indexes. `speed` (part rad/s, > 0) and `acceleration` (part rad/s^2, > 0) are checked as given;
    what is None is chosen by `safe_motion`, which raises
    `InputError` if the motor's torque at speed isn't known and `LimitExceededError` if nothing is safe.

    The verdict is `fails` if any check fails; else `not known` if a datum is missing; else `holds narrowly` if a margin
    is below a fifth; else `holds`. All figures are estimates from the data given.
    """
    load = load_case(machine, job)
    moves = index_moves(index_turns, purposes)
    motion = _motion(load, moves, speed, acceleration)
    extremes = index_extremes(load, moves, motion)
    case = LimitCase(machine, job, load, extremes)
    checks = tuple(found for check in CHECKS for found in check(load, extremes))
    checks += tuple(found for check in CASE_CHECKS for found in check(case))
    return LimitReport(overall(checks), checks, motion)


def index_extremes(load: LoadCase, moves: IndexMoves, motion: SafeMotion) -> IndexExtremes:
    """What `moves` reach at `motion`."""
    longest = plan_index(moves.longest_of_all, motion.acceleration, motion.speed)
    pushing, holding = largest_peaks(load, moves, motion.acceleration, motion.speed)
    return IndexExtremes(
        acceleration=motion.acceleration,
        peak_speed=float(longest.peak_speed),
        cruises=bool(longest.is_trapezoid),
        longest=moves.longest_of_all,
        duration=float(longest.duration),
        peak_pushing=pushing,
        peak_holding=holding,
    )


def _motion(load: LoadCase, moves: IndexMoves, speed: float | None, acceleration: float | None) -> SafeMotion:
    if speed is not None:
        require_positive("index speed", speed, "rad/s")
    if acceleration is not None:
        require_positive("index acceleration", acceleration, "rad/s^2")
    return motion_for(load, moves, speed=speed, acceleration=acceleration)
