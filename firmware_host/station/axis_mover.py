"""Moves the axis to microsteps of the job: coordinates proved, durations by the controller's own settings."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

import numpy as np

from firmware_host.clock import Clock
from firmware_host.controller.controller import Controller
from firmware_host.controller.reply import StatusReport
from firmware_host.controller.session import RestProof
from firmware_host.planning.controller_units import axis_units, floor_text
from firmware_host.planning.coordinates import ROOM, HeldScale, prove_coordinates
from firmware_host.planning.moves import MoveProgram
from firmware_host.planning.velocity import plan_index

_DEADLINE_FACTOR = 2.0
_DEADLINE_EXTRA_S = 10.0


class AxisMover:
    """Knows the job's zero (`origin`, machine steps) and where the axis was last proved to rest.

    `scale` is the steps-per-unit the controller holds, as far as it is known. All targets are microsteps from the
    job's zero.
    """

    def __init__(
        self, controller: Controller, clock: Clock, program: MoveProgram, scale: HeldScale, origin: int, at: int = 0
    ) -> None:
        self._controller = controller
        self._clock = clock
        self._program = program
        self._scale = scale
        self.origin = origin
        self.at = at
        """Where the axis rests, microsteps from the job's zero."""
        self._taken_up = False  # from which side the axis came to where it stands is not known
        # A position is reported with three decimals: what that hides of a step must be left over as well.
        self._room = ROOM + float(scale.middle) * 0.0005
        held = controller.settings
        self._acceleration = float(held.acceleration_units_per_s2.value)
        wanted = 60 * axis_units(program.speed, program.route.per_part_turn, scale.middle)
        self._feed = floor_text(min(wanted, float(held.rate_units_per_min.value)), 3)

    def prove(self) -> None:
        """Prove every target and every take-up before anything moves. Raises `CoordinateError`."""
        route = self._program.route
        take_ups = route.segment_targets() - np.int64(route.overrun)  # a resumed run may need any of them
        machine_steps = np.concatenate([route.targets, take_ups]) + np.int64(self.origin)
        prove_coordinates(machine_steps, self._scale, room=self._room)

    def duration(self, target: int, start: int | None = None) -> float:
        """How long the controller takes to `target` from `start` (by default from where it rests), s."""
        steps = abs(target - (self.at if start is None else start))
        units = float(Fraction(steps) / self._scale.middle)
        return float(plan_index(units, self._acceleration, float(self._feed) / 60).duration)

    def move(self, target: int, on_poll: Callable[[StatusReport], None]) -> RestProof:
        """Move to `target`, from below where lost motion is to be taken up, and wait until it is proved at rest."""
        overrun = self._program.route.overrun
        if overrun and target - self.at < (0 if self._taken_up else overrun):
            self.move_straight(target - overrun, on_poll)
        self._taken_up = True
        return self.move_straight(target, on_poll)

    def move_straight(self, target: int, on_poll: Callable[[StatusReport], None]) -> RestProof:
        """Move to `target` from wherever it rests, and wait until it is proved at rest."""
        machine_steps = target + self.origin
        coordinate = prove_coordinates(np.array([machine_steps]), self._scale, room=self._room).text(0)
        duration_s = self.duration(target)
        accepted_s = self._controller.move_to(coordinate, self._feed)
        proof = self._controller.wait_at_rest(
            target_steps=machine_steps,
            steps_per_unit=self._scale.middle,
            accepted_at_s=accepted_s,
            planned_duration_s=duration_s,
            deadline_s=accepted_s + _DEADLINE_FACTOR * duration_s + _DEADLINE_EXTRA_S,
            on_poll=on_poll,
        )
        self.at = target
        return proof
