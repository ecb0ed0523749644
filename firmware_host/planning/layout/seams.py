"""Seams: the gap or overlap to expect at each, how far off that may be, and whether it will show.

Sign: a positive gap is bare surface between two segments, a negative one an overlap. Chuck: gap =
a*(D_true/D_entered - 1); rollers: the same with the roller's diameter, and pi*(D_true - D_entered) more at the closing
seam of a full wrap (circle geometry; trade practice agrees on the directions).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.layout.lost_motion import lost_motion_turns
from firmware_host.planning.layout.segments import SegmentPlan
from firmware_host.planning.steps import Steps

Floats = NDArray[np.float64]

#: A seam shows when its gap or overlap passes this part of the spot's diameter (common practice, no source).
SHOWS_AT = 0.5


@dataclass(frozen=True)
class TrueSizes:
    """What the sizes really are, m; None means: as entered."""

    part_diameter: float | None = None
    roller_diameter: float | None = None


AS_ENTERED = TrueSizes()


@dataclass(frozen=True)
class Seams:
    """Shape (s,) arrays, s seams: `at_deg`, `gap` (m, + gap, - overlap), `uncertainty` (m, >= 0, worst case).

    The last one is the closing seam if `closing`. `tolerance` (m) is the gap that begins to show; None without a spot.
    """

    at_deg: Floats
    gap: Floats
    uncertainty: Floats
    closing: bool
    terms: Mapping[str, float]
    tolerance: float | None
    warnings: tuple[str, ...]

    def showing(self) -> NDArray[np.bool_]:
        """Which seams may show: gap and uncertainty together pass the tolerance. Shape (s,)."""
        if self.tolerance is None:
            return np.zeros(self.gap.shape, dtype=np.bool_)
        return np.abs(self.gap) + self.uncertainty > self.tolerance


def seam_terms(machine: Machine, job: Job) -> dict[str, float]:
    """Worst-case contributions to one seam along the surface, m, that every index makes, by name."""
    circumference = math.pi * job.part.diameter.si
    motor_turns = float(machine.motor_turns_per_part_turn(job.part.contact))
    full_step = circumference / (machine.motor.full_steps * motor_turns)
    return {
        "microstep rounding, at most": full_step / machine.driver.microsteps,
        "motor step accuracy, both ends": 2 * machine.motor.step_accuracy * full_step,
    }


def lost_motion_matters(machine: Machine, job: Job) -> bool:
    """Whether lost motion must be taken up: it passes what the other terms leave of the tolerance, or none is known."""
    lost = float(lost_motion_turns(machine, job)) * math.pi * job.part.diameter.si
    tolerance = seam_tolerance(job)
    if tolerance is None:
        return lost > 0
    return lost > max(0.0, tolerance - sum(seam_terms(machine, job).values()))


def seam_tolerance(job: Job) -> float | None:
    """The gap or overlap that begins to show, m: half the spot (common practice, no source)."""
    spot = job.window.spot
    return None if spot is None else SHOWS_AT * spot.si


def predict_seams(
    machine: Machine,
    job: Job,
    plan: SegmentPlan,
    targets: Steps,
    *,
    one_side: bool,
    true: TrueSizes = AS_ENTERED,
) -> Seams:
    """Gap or overlap at each seam for the exact microstep targets (int64, shape (n,)), with `true` sizes if given."""
    entered = job.part.diameter.si
    part = true.part_diameter if true.part_diameter is not None else entered
    per_turn = machine.microsteps_per_part_turn(job.part.contact)
    scale = machine.drive.surface_scale(part / entered, true.roller_diameter)
    to_surface = math.pi * entered * scale / float(per_turn)
    arcs = plan.arcs()
    gap = np.diff(targets) * to_surface - (arcs[1:] + arcs[:-1]) / 2
    at_deg = plan.centres_deg()[:-1] + plan.widths_deg()[:-1] / 2
    terms = seam_terms(machine, job)
    relative = machine.drive.surface_uncertainty(job.part.diameter, job.segments.diameter_uncertainty)
    steady = terms["motor step accuracy, both ends"]
    uncertainty = steady + relative * (arcs[1:] + arcs[:-1]) / 2
    terms["driving diameter, widest segment"] = relative * float(arcs.max())
    lost = 0.0 if one_side else float(lost_motion_turns(machine, job)) * math.pi * entered
    terms["lost motion, first seam"] = lost
    if uncertainty.size:
        uncertainty[0] += lost
    if plan.full_wrap:
        travelled = float(targets[-1] - targets[0]) * to_surface
        closing_gap = math.pi * part - travelled - (arcs[0] + arcs[-1]) / 2
        closing_sure = steady + lost + _closing_uncertainty(machine, job, plan, relative)
        terms["closing seam"] = closing_sure
        gap = np.append(gap, closing_gap)
        at_deg = np.append(at_deg, float((plan.start + plan.total) * 360))
        uncertainty = np.append(uncertainty, closing_sure)
    return Seams(at_deg, gap, uncertainty, plan.full_wrap, terms, seam_tolerance(job), _warnings(machine, job, plan))


def _closing_uncertainty(machine: Machine, job: Job, plan: SegmentPlan, relative: float) -> float:
    """Worst case of the closing seam from the diameters, m: what was travelled against what there is to travel."""
    known = job.segments.diameter_uncertainty
    entered = job.part.diameter.si
    part = known.si / entered if known is not None else 0.0
    turned = float(plan.total) - (float(plan.blocks[0].width) + float(plan.blocks[-1].width)) / 2
    if machine.drive.sets_surface_travel == "part":
        return part * math.pi * entered * (1 - turned)
    return math.pi * entered * (part + relative * turned)


def _warnings(machine: Machine, job: Job, plan: SegmentPlan) -> tuple[str, ...]:
    arc_mm = math.pi * job.part.diameter.si * float(plan.widest) * 1e3
    per_percent = arc_mm / 100
    driver = machine.drive.sets_surface_travel
    lines = [
        f"If the {driver} diameter entered is too large, the part turns too little and marks overlap; too small, gaps "
        f"open: {per_percent:.3f} mm at each seam for every 1 %."
    ]
    if driver == "roller" and plan.full_wrap:
        lines.append(
            "If the part diameter entered is too large, only the closing seam overlaps; too small, it gapes: "
            "3.142 mm for every 1 mm."
        )
    return tuple(lines)
