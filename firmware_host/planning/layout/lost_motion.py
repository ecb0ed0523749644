"""Lost motion (backlash) of the whole gearing, seen at the part."""

from __future__ import annotations

from fractions import Fraction

from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine


def lost_motion_turns(machine: Machine, job: Job) -> Fraction:
    """Sum over the stages of lost motion at the part, in turns: each is divided by the reductions that follow it."""
    total = Fraction(0)
    after = machine.drive.shaft_turns_per_part_turn(job.part.contact)
    for stage in reversed(machine.gearing):
        if stage.lost_motion is not None:
            total += stage.lost_motion.exact / after
        after *= stage.reduction
    return total
