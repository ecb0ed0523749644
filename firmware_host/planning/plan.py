"""The whole plan of a job: segments, seams, exact moves, limits and settling, made in one go."""

from __future__ import annotations

import math
from dataclasses import dataclass

from firmware_host.mechanics.vibration import settle_time
from firmware_host.model.loading import Setup
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits import check_limits
from firmware_host.planning.load import LoadCase, load_case
from firmware_host.planning.moves import MoveProgram, Route, plan_route, time_moves
from firmware_host.planning.seams import AS_ENTERED, Seams, TrueSizes, predict_seams
from firmware_host.planning.segments import SegmentPlan, plan_segments

#: Least damping of a motor on its magnetic spring, where nobody measured it (0.05 to 0.2, from memory).
LEAST_DAMPING = 0.05


@dataclass(frozen=True)
class JobPlan:
    """What follows from a job and its machine. `settle_s`: wait after a move before the gate may open, s."""

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
    )
    program = time_moves(route, limits.motion.speed, limits.motion.acceleration)
    seams = predict_seams(machine, job, segments, route.segment_targets(), one_side=route.one_side, true=true)
    settle = job.index.settle
    settle_s = settle.si if settle is not None else ringing_time(load_case(machine, job), program)
    return JobPlan(segments, seams, program, limits, settle_s)


def ringing_time(load: LoadCase, program: MoveProgram) -> float:
    """How long the part may ring by more than half a microstep after a move, s.

    The worst case of a ramp's end, amplitude 2a/w^2 whatever the ramp lasts, with `LEAST_DAMPING`
    (see `mechanics.vibration`): a well-timed ramp rings less.
    """
    natural = load.natural_frequency
    amplitude = 2 * program.acceleration / natural**2
    half_microstep = math.pi / float(program.route.per_part_turn)
    return float(settle_time(amplitude, half_microstep, LEAST_DAMPING, natural))
