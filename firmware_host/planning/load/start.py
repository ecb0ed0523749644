"""How a controller begins and ends a move: some step to a speed at once, or make the second step late."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from firmware_host.mechanics.guard import FloatArray, FloatOrArray
from firmware_host.mechanics.motor.start_stop import jump_swing
from firmware_host.mechanics.train.vibration import DampingRange, FrequencyBand
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine


class StartJump(NamedTuple):
    """A step of speed at both ends of every move; `NO_JUMP` where the ramps begin and end at a standstill.

    `speed`: of the part (rad/s, >= 0). `wait` (s, >= 0): so long after the first step the second comes, whatever the
    acceleration; meanwhile the ramp has gained speed without the rotor, which has to take it at once.
    """

    speed: float = 0.0
    wait: float = 0.0

    def of(self, acceleration: FloatOrArray) -> FloatOrArray:
        """The step (rad/s of the part, >= 0) with ramps of `acceleration` (rad/s^2): v + a t."""
        return self.speed + self.wait * acceleration

    def swing(
        self, acceleration: FloatArray, earlier: FloatArray, band: FrequencyBand, damping: DampingRange
    ) -> FloatArray:
        """What the two steps of a move swing an oscillator with at most, rad/s^2 over its w (1/s): rad/s, >= 0.

        The one at the start is `earlier` (s) ago, at least; both add up in the worst phase, with the least damping.
        """
        left = 1 + np.exp(-damping.lowest * band.lowest * earlier)
        return jump_swing(left, self.of(acceleration))


NO_JUMP = StartJump()


def start_jump(machine: Machine, job: Job) -> StartJump:
    """The jump that the machine's file states of its controller; none where it states nothing."""
    stated = machine.link.stated
    if stated.start_jump is None and stated.second_step_after is None:
        return NO_JUMP
    wait = stated.second_step_after.si if stated.second_step_after is not None else 0.0
    shaft = stated.start_jump.si if stated.start_jump is not None else 0.0
    step = 2 * math.pi / float(machine.microsteps_per_part_turn(job.part.contact))
    speed = shaft / float(machine.drive.shaft_turns_per_part_turn(job.part.contact))
    return StartJump(max(speed, step / wait if wait > 0 else 0.0), wait)
