"""How a controller begins and ends a move: some step to a speed at once, or make the second step late."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from firmware_host.mechanics.guard import FloatArray, FloatOrArray
from firmware_host.mechanics.motor.start_stop import jump_swing
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine


class StartJump(NamedTuple):
    """A step of speed at the ends of every move; `NO_JUMP` where the ramps begin and end at a standstill.

    `speed`: of the part (rad/s, >= 0). `wait` (s, >= 0): so long after the first step the second comes, whatever the
    acceleration; meanwhile the ramp has gained speed without the rotor, which has to take it at once. `step`: a
    microstep (rad of the part, >= 0): a jump that leaves out no more of them than `STEPS_LEFT_OUT` swings nothing.
    """

    speed: float = 0.0
    wait: float = 0.0
    step: float = 0.0

    def of(self, acceleration: FloatOrArray) -> FloatOrArray:
        """The step at the start (rad/s of the part, >= 0) with ramps of `acceleration` (rad/s^2): v + a t."""
        return self.speed + self.wait * acceleration

    def left(self, acceleration: FloatArray, earlier: FloatArray, decay: float) -> FloatArray:
        """What the steps of a move leave of swing over w, rad/s, right after the one at its end: at most.

        The one at the start is `earlier` (s) ago, at least, and has died away with `decay` (1/s) at least. Both add up
        in the worst phase. At the end there is no more than `speed`: a ramp down makes its steps in time.
        """
        at_end = self._counted(acceleration, np.asarray(self.speed), 0.0)
        return jump_swing(np.exp(-decay * earlier), self._at_start(acceleration)) + at_end

    def most(self, acceleration: FloatArray, earlier: FloatArray, decay: float) -> FloatArray:
        """The same of the most that they swing by on the way."""
        return np.maximum(self._at_start(acceleration), self.left(acceleration, earlier, decay))

    def _at_start(self, acceleration: FloatArray) -> FloatArray:
        return self._counted(acceleration, np.asarray(self.of(acceleration)), self.step if self.wait > 0 else 0.0)

    def _counted(self, acceleration: FloatArray, jump: FloatArray, made: float) -> FloatArray:
        """`jump`, where it leaves out more than a ramp of whole steps does anyhow; `made` (rad) is made before it.

        Up to that speed the ramp turns v^2/(2 a).
        """
        left_out = np.square(jump) / (2 * acceleration) - made
        return np.where(left_out > STEPS_LEFT_OUT * self.step, jump, 0.0)


STEPS_LEFT_OUT = 1.5
"""Steps: a jump that leaves out no more is not told from a ramp made of whole steps, which jumps by one each time."""

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
    return StartJump(max(speed, step / wait if wait > 0 else 0.0), wait, step)
