"""A job's plan, its limits and its settling, for the move that a controller really makes."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

from firmware_host.model.files.loading import Setup
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.limit_report import check_limits
from firmware_host.planning.load.case import LoadVariants, load_variants
from firmware_host.planning.load.start import StartJump
from firmware_host.planning.plan import JobPlan

_SAME = 1e-3
"""Speeds and accelerations nearer than this part of themselves are one motion."""


class MadeMotion(NamedTuple):
    """What a controller makes of the moves: `speed` (rad/s, > 0) and `acceleration` (rad/s^2, > 0) of the part.

    `start`: the step of speed at both ends of each.
    """

    speed: float
    acceleration: float
    start: StartJump


def as_made(setup: Setup, plan: JobPlan, made: MadeMotion, check: Check = never) -> JobPlan:
    """The plan with limits and settling of the motion that is `made`; where that is the planned one, `plan` itself.

    The route, the moves and the speed asked for stay. A longer settling than planned is waited for, never a shorter
    one; one that the job states stays. `check` as in `plan_job`.
    """
    loads = load_variants(setup.machine, setup.job)
    planned, real = loads.unkind.load.start, made.start
    start = StartJump(max(planned.speed, real.speed), max(planned.wait, real.wait), max(planned.step, real.step))
    same = math.isclose(made.speed, plan.program.speed, rel_tol=_SAME)
    same = same and math.isclose(made.acceleration, plan.program.acceleration, rel_tol=_SAME)
    if same and (start.speed, start.wait) == (planned.speed, planned.wait):
        return plan
    starting = tuple(each._replace(load=replace(each.load, start=start)) for each in loads.variants)
    limits = check_limits(
        setup.machine,
        setup.job,
        index_turns=plan.route.index_turns,
        speed=made.speed,
        acceleration=made.acceleration,
        purposes=plan.route.purpose,
        loads=LoadVariants(loads.assumptions, starting),
        check=check,
    )
    stated = setup.job.index.settle
    settle_s = plan.settle_s if stated is not None else max(plan.settle_s, limits.motion.timing.settle_s)
    return replace(plan, limits=limits, settle_s=settle_s)
