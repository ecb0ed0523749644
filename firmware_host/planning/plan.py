"""The whole plan of a job: segments, seams, exact moves, limits and settling, made in one go."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_host.model.loading import Setup
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits import check_limits
from firmware_host.planning.moves import MoveProgram, Route, plan_route, time_moves
from firmware_host.planning.seams import AS_ENTERED, Seams, TrueSizes, predict_seams
from firmware_host.planning.segments import SegmentPlan, plan_segments


@dataclass(frozen=True)
class JobPlan:
    """What follows from a job and its machine.

    `settle_s`: wait after a move before the gate may open, s: as stated, or the longest that one of the job's indexes
    rings by more than half a microstep (see `index_ringing`).
    """

    segments: SegmentPlan
    seams: Seams
    program: MoveProgram
    limits: LimitReport
    settle_s: float

    @property
    def route(self) -> Route:
        """Where the axis goes."""
        return self.program.route


def plan_job(setup: Setup, *, true: TrueSizes = AS_ENTERED) -> JobPlan:
    """Plan a job. Raises `InputError` or `PlanError` when it can't be planned; limits that fail are in the report."""
    job, machine = setup.job, setup.machine
    segments = plan_segments(job)
    route = plan_route(machine, job, segments)
    speed, acceleration = job.index.speed, job.index.acceleration
    limits = check_limits(
        machine,
        job,
        index_turns=route.index_turns,
        speed=speed.si if speed is not None else None,
        acceleration=acceleration.si if acceleration is not None else None,
        purposes=route.purpose,
    )
    program = time_moves(route, limits.motion.speed, limits.motion.acceleration)
    seams = predict_seams(machine, job, segments, route.segment_targets(), one_side=route.one_side, true=true)
    settle = job.index.settle
    settle_s = settle.si if settle is not None else limits.motion.timing.settle_s
    return JobPlan(segments, seams, program, limits, settle_s)
