"""A part marked on a machine that is not as its files say: where the laser burns, step by step, from kinematics alone.

Shares nothing with the causes that are being tested: it turns the true shaft by the commanded steps, looks which place
of the true surface comes up under the lens, burns the strip there, and measures from the end of one burn to the start
of the next.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from firmware_host.model import Setup
from firmware_host.planning.plan import Layout


@dataclass(frozen=True)
class Fault:
    """What is not as the files say, each as a part of the true or entered size; lengths in m."""

    part: float = 0.0
    roller: float = 0.0
    ratio: float = 0.0
    slip: float = 0.0
    drawn: float = 0.0
    lost_motion: float = 0.0
    run_out: float = 0.0
    run_out_at: float = 0.0
    cone: float = 0.0


@dataclass(frozen=True)
class TruePart:
    """The burns on the part: the place under the lens (rad), half of each as drawn flat (m), the true radius (m)."""

    under: tuple[float, ...]
    halves: tuple[float, ...]
    radius: float
    cone: float
    closes: bool

    def gap(self, seam: int, place: float = 0.0) -> float:
        """Bare surface (m, - an overlap) behind segment `seam` (from 1), `place` from -1 to 1 along the mark."""
        count = len(self.under)
        radius = self.radius * (1 + self.cone * place)
        after = self.under[seam] if seam < count else self.under[0] + 2 * math.pi
        burnt = math.asin(self.halves[seam - 1] / radius) + math.asin(self.halves[seam % count] / radius)
        return (after - self.under[seam - 1] - burnt) * radius

    @property
    def seams(self) -> int:
        return len(self.under) if self.closes else len(self.under) - 1


def mark(setup: Setup, layout: Layout, fault: Fault) -> TruePart:
    """Mark the segments of `layout` on the true part."""
    machine, job = setup.machine, setup.job
    entered, true = job.part.diameter.si / 2, job.part.diameter.si / 2 * (1 + fault.part)
    steps_per_motor_turn = machine.motor.full_steps * machine.driver.microsteps
    gearing = 1.0
    for stage in machine.gearing:
        gearing *= float(stage.reduction)
    targets = [int(step) for step in layout.route.segment_targets()]
    under, halves = [], []
    for index, target in enumerate(targets):
        shaft = 2 * math.pi * target / steps_per_motor_turn / gearing * (1 + fault.ratio)
        cradle = machine.drive.cradle
        if cradle is not None:
            surface = shaft * cradle.roller_diameter / 2 * (1 + fault.roller) * (1 - fault.slip)
            turned = surface / true  # it rolls where it is marked
        else:
            turned = shaft * (1 - fault.slip)
        if index > 0:
            turned -= fault.lost_motion / true
        sideways = fault.run_out * math.sin(turned + fault.run_out_at)
        under.append(turned + math.asin(sideways / true))
        half = float(layout.segments.arcs()[index]) / 2
        halves.append(entered * math.sin(half / entered) * (1 + fault.drawn))  # drawn for the entered radius
    return TruePart(tuple(under), tuple(halves), true, fault.cone, layout.segments.full_wrap)
