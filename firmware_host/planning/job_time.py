"""How long a job takes: turning and settling from its plan, marking from what one pass takes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firmware_host.model.files.loading import Setup
from firmware_host.planning.index.unwinding_settle import unwind_settle
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.route.moves import Purpose


@dataclass(frozen=True)
class JobTime:
    """What the plan of a job says of its time, s. `moves`: those in which the part turns at all; `settles`: waits.

    Not in it: seeking a home switch, and what the controller and the marking side take to answer.
    """

    turning_s: float
    settling_s: float
    moves: int
    settles: int
    passes: int

    def whole_s(self, pass_s: float) -> float:
        """Turning, settling and marking, s, at `pass_s` (s, >= 0) for each pass."""
        return self.turning_s + self.settling_s + self.passes * pass_s


def job_time(setup: Setup, plan: JobPlan) -> JobTime:
    """The sum of all moves of the plan, and of the wait after each that leads to a segment or takes turns back."""
    route, count = plan.route, plan.segments.count
    unwound = np.abs(route.deltas[route.purpose == Purpose.UNWIND]) / float(route.per_part_turn)
    lengths, how_often = np.unique(unwound, return_counts=True)
    unwinding_s = sum(
        unwind_settle(setup.machine, setup.job, plan.program, turns) * often
        for turns, often in zip(lengths.tolist(), how_often.tolist(), strict=True)
        if turns > 0
    )
    return JobTime(
        turning_s=float(plan.program.durations.sum()),
        settling_s=count * plan.settle_s + unwinding_s,
        moves=int(np.count_nonzero(route.deltas)),
        settles=count + int((unwound > 0).sum()),
        passes=count * setup.job.mark.passes,
    )
