"""Seams: the gap or overlap to expect at each, how far off that may be, and whether it will show.

Sign: a positive gap is bare surface between two segments, a negative one an overlap. Chuck: gap =
a*(D_true/D_entered - 1); rollers: the same with the roller's diameter, and pi*(D_true - D_entered) more at the closing
seam of a full wrap (circle geometry; trade practice agrees on the directions).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import beside, real
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.layout.artwork import artwork_causes, taper_warning
from firmware_host.planning.layout.causes import SeamCause, either_way
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

_STEP_ACCURACY = "motor step accuracy, both ends"


@dataclass(frozen=True)
class SeamFigures:
    """Shape (s,) arrays, s seams: `gap` (m, + gap, - overlap) as it must be from all that is known.

    `below` and `above` (m, >= 0): how far under and over that it may come with every cause at its worst. `blank` (m,
    >= 0): width of the artwork's gap that the seam lies in, 0 where there is artwork. `tolerance` (m): the gap that
    begins to show; None without a spot. `causes`: what opens and closes the seams, besides the rounding to whole
    microsteps.
    """

    gap: Floats
    below: Floats
    above: Floats
    blank: Floats
    tolerance: float | None
    causes: tuple[SeamCause, ...]

    @property
    def lowest(self) -> Floats:
        """The least gap, or the largest overlap, that each seam may come to, m."""
        return self.gap - self.below

    @property
    def highest(self) -> Floats:
        """The largest gap that each seam may come to, m."""
        return self.gap + self.above

    @property
    def uncertainty(self) -> Floats:
        """How far each seam may be off its predicted gap, m, >= 0."""
        return np.maximum(self.below, self.above)

    def showing(self) -> NDArray[np.bool_]:
        """Which seams may show: at its worst, gap or overlap passes the tolerance. Shape (s,).

        In a gap of the artwork a seam shows only where the marks beside it overlap by more than that gap is wide.
        """
        if self.tolerance is None:
            return np.zeros(self.gap.shape, dtype=np.bool_)
        bare = np.maximum(np.abs(self.lowest), np.abs(self.highest)) > self.tolerance
        return np.where(self.blank > 0, -self.lowest > self.blank, bare)


@dataclass(frozen=True)
class Seams(SeamFigures):
    """What to expect at each seam: the figures, and where each is (`at_deg`, shape (s,)).

    The last seam is the closing one if `closing`. `terms`: the most that each cause does to one seam (m, >= 0).
    `unknown`: keys of what is not known, and in no figure.
    """

    at_deg: Floats
    closing: bool
    terms: Mapping[str, float]
    warnings: tuple[str, ...]
    unknown: tuple[str, ...] = ()


def seam_terms(machine: Machine, job: Job) -> dict[str, float]:
    """Worst-case contributions to one seam along the surface, m, that every index makes, by name."""
    circumference = math.pi * job.part.diameter.si
    motor_turns = real(machine.motor_turns_per_part_turn(job.part.contact))
    full_step = circumference / (machine.motor.full_steps * motor_turns)
    return {
        "microstep rounding, at most": full_step / machine.driver.microsteps,
        _STEP_ACCURACY: 2 * machine.motor.step_accuracy * full_step,
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
    moved: Sequence[SeamCause] = (),
    unknown: tuple[str, ...] = (),
    warnings: tuple[str, ...] = (),
) -> Seams:
    """Gap or overlap at each seam for the exact microstep targets (int64, shape (n,)), with `true` sizes if given.

    `moved`: what load and index move the surface by, `unknown` the keys of what is not known of that, and `warnings`
    what else is to be told.
    """
    figures = seam_figures(machine, job, plan, targets, one_side=one_side, true=true, moved=moved)
    causes = figures.causes
    rounding = "microstep rounding, at most"
    ends = plan.centres_deg() + plan.widths_deg() / 2
    return Seams(
        at_deg=ends if plan.full_wrap else ends[:-1],
        gap=figures.gap,
        below=figures.below,
        above=figures.above,
        blank=figures.blank,
        closing=plan.full_wrap,
        causes=causes,
        terms={rounding: seam_terms(machine, job)[rounding]} | {cause.name: cause.worst for cause in causes},
        tolerance=seam_tolerance(job),
        warnings=(*warnings, *_warnings(machine, job, plan)),
        unknown=unknown,
    )


def seam_figures(
    machine: Machine,
    job: Job,
    plan: SegmentPlan,
    targets: Steps,
    *,
    one_side: bool,
    true: TrueSizes = AS_ENTERED,
    moved: Sequence[SeamCause] = (),
) -> SeamFigures:
    """The figures of `predict_seams` alone; of many parts, the first axis is theirs."""
    gap = _travelled(machine, job, plan, targets, true)
    causes = (*_machine_causes(machine, job, plan, one_side), *artwork_causes(plan, job.window), *moved)
    none = np.zeros_like(gap)
    return SeamFigures(
        gap=gap + sum((cause.certain for cause in causes), none),
        below=sum((cause.certain - cause.low for cause in causes), none),
        above=sum((cause.high - cause.certain for cause in causes), none),
        blank=_blank(job, plan),
        tolerance=seam_tolerance(job),
        causes=causes,
    )


def _blank(job: Job, plan: SegmentPlan) -> Floats:
    """Width of the gap of the artwork that each seam lies in, m, 0 where it lies in none. Shape (s,)."""
    around = beside(math.pi * real(plan.diameter))
    ends = (plan.centres_deg() + plan.widths_deg() / 2) / 360 - beside(real(plan.start))
    places = (ends if plan.full_wrap else ends[..., :-1]) * around
    blank: Floats = np.zeros(places.shape)
    for gap in job.mark.gaps:
        inside = np.abs(places - gap.at.si) <= gap.width.si / 2 + 1e-9 * around
        blank = np.where(inside, np.maximum(blank, gap.width.si), blank)
    return blank


def _travelled(machine: Machine, job: Job, plan: SegmentPlan, targets: Steps, true: TrueSizes) -> Floats:
    """Gap at each seam from how far the surface travels against the arcs that are marked, m. Shape (s,)."""
    entered = job.part.diameter.si
    part = true.part_diameter if true.part_diameter is not None else entered
    scale = machine.drive.surface_scale(part / entered, true.roller_diameter)
    to_surface = beside(math.pi * entered * scale / real(machine.microsteps_per_part_turn(job.part.contact)))
    arcs = plan.arcs()
    gap: Floats = np.diff(targets) * to_surface - (arcs[..., 1:] + arcs[..., :-1]) / 2
    if plan.full_wrap:
        travelled = (targets[..., -1:] - targets[..., :1]) * to_surface
        closing = beside(math.pi * part) - travelled - (arcs[..., :1] + arcs[..., -1:]) / 2
        gap = np.append(gap, closing, axis=-1)
    return gap


def _machine_causes(machine: Machine, job: Job, plan: SegmentPlan, one_side: bool) -> Iterator[SeamCause]:
    """What the machine's own inaccuracy does to each seam."""
    pitches = plan.per_seam(plan.arcs()) / 2
    steady = seam_terms(machine, job)[_STEP_ACCURACY]
    yield either_way("step-accuracy", _STEP_ACCURACY, np.zeros(pitches.shape) + beside(steady))
    relative = machine.drive.surface_uncertainty(job.part.diameter, job.segments.diameter_uncertainty)
    diameter = beside(relative) * pitches
    if plan.full_wrap:
        diameter[..., -1] = _closing_uncertainty(machine, job, plan, relative)
    keys = "segments.diameter_uncertainty, drive.roller_diameter_uncertainty"
    yield either_way("driving-diameter", "how well the diameter is known", diameter, f"Measure it better ({keys})")
    lost = np.zeros(pitches.shape)
    if not one_side:
        turns = real(lost_motion_turns(machine, job))
        lost[..., [0, -1] if plan.full_wrap else slice(1)] = beside(turns * math.pi * job.part.diameter.si)
    name, remedy = "lost motion, first and closing seam", 'Take it up from one side (index.approach = "one-side")'
    yield either_way("lost-motion", name, lost, remedy)


def _closing_uncertainty(machine: Machine, job: Job, plan: SegmentPlan, relative: float) -> float:
    """Worst case of the closing seam from the diameters, m: what was travelled against what there is to travel."""
    known = job.segments.diameter_uncertainty
    entered = job.part.diameter.si
    part = known.si / entered if known is not None else 0.0
    turned = real(plan.total) - (real(plan.blocks[0].width) + real(plan.blocks[-1].width)) / 2
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
    if tapered := taper_warning(plan, seam_tolerance(job)):
        lines.append(tapered)
    return tuple(lines)
