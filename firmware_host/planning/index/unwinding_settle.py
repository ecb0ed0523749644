"""How long the part rings after whole turns have been taken back: a longer move than any index, at the same motion."""

from __future__ import annotations

import numpy as np

from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.index.timing import index_timing
from firmware_host.planning.load.case import load_case
from firmware_host.planning.route.moves import MoveProgram


def unwind_settle(machine: Machine, job: Job, program: MoveProgram, turns: float) -> float:
    """Wait (s, >= 0) after a move by `turns` of the part (> 0): as stated, or until it rings by half a microstep.

    The same calculation as for an index (`ringing.settle_times`), for the length of this move.
    """
    stated = job.index.settle
    if stated is not None:
        return stated.si
    moves = index_moves(np.array([turns]))
    return index_timing(load_case(machine, job), moves, program.acceleration, program.speed).settle_s
