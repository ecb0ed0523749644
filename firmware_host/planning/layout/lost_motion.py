"""Lost motion (backlash) of the whole gearing, seen at the part."""

from __future__ import annotations

from fractions import Fraction

from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine


def lost_motion_turns(machine: Machine, job: Job) -> Fraction:
    """Sum over the stages of lost motion at the part, in turns."""
    return lost_motion_of(machine, machine.drive.shaft_turns_per_part_turn(job.part.contact))


def lost_motion_of(machine: Machine, shaft_turns: Fraction, *, but_last: bool = False) -> Fraction:
    """The same for a part that the drive's shaft turns once in `shaft_turns`: each by the reductions that follow it.

    `but_last`: the stage next to the drive is left out.
    """
    total, after = Fraction(0), shaft_turns
    for place, stage in enumerate(reversed(machine.gearing)):
        if stage.lost_motion is not None and not (but_last and place == 0):
            total += stage.lost_motion.exact / after
        after *= stage.reduction
    return total
