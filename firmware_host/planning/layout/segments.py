"""Where the segments fall: the fewest equal ones, a count or an angle asked for, or seams in the artwork's gaps.

Angles are exact fractions of a turn, from the job's zero; zero is where the first segment faces the lens unless the
job gives a start angle. Positive is the axis's positive direction. A segment's centre is the angle the part is turned
to when it is marked.
"""

from __future__ import annotations

import functools
import itertools
import math
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import InputError, PlanError, WindowError
from firmware_host.mechanics.guard import beside, real
from firmware_host.model.job.job import Job
from firmware_host.model.job.mark import Mark
from firmware_host.planning.layout.band import band_of
from firmware_host.planning.layout.gaps import split_in_gaps
from firmware_host.planning.layout.window import MarkingWindow, marking_window
from firmware_host.units import PI

LARGEST_COUNT = 1_000_000
_SLACK = 1e-9
_INCH_MM = 25.4
#: A mark that leaves less than this part of the circumference is taken for a full wrap, with a closing seam.
_WRAP_REST = Fraction(1, 10_000)

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SegmentBlock:
    """Equal neighbours: `count` segments of `width`, the first centred at `first`, `pitch` apart (exact turns)."""

    first: Fraction
    pitch: Fraction
    width: Fraction
    count: int


@dataclass(frozen=True)
class SegmentPlan:
    """All segments of a mark. `diameter` (m) is the one entered, `total` the whole mark in turns."""

    blocks: tuple[SegmentBlock, ...]
    window: MarkingWindow
    diameter: Fraction
    total: Fraction
    request: str

    @property
    def count(self) -> int:
        """How many segments."""
        return sum(block.count for block in self.blocks)

    @cached_property
    def full_wrap(self) -> bool:
        """Whether the last segment meets the first (a closing seam)."""
        return bool(np.all(self.total > 1 - _WRAP_REST))

    @property
    def start(self) -> Fraction:
        """Where the mark begins, in turns."""
        return self.blocks[0].first - self.blocks[0].width / 2

    @property
    def widest(self) -> Fraction:
        """The widest segment, in turns."""
        return functools.reduce(_wider, (block.width for block in self.blocks))

    def centres_deg(self) -> Floats:
        """Centre of each segment, degrees, shape (count,)."""
        return np.concatenate(
            [beside(real(b.first * 360)) + np.arange(b.count) * beside(real(b.pitch * 360)) for b in self.blocks],
            axis=-1,
        )

    def widths_deg(self) -> Floats:
        """Width of each segment, degrees, shape (count,)."""
        return np.concatenate([beside(real(b.width * 360)) * np.ones(b.count) for b in self.blocks], axis=-1)

    def arcs(self) -> Floats:
        """Length of each segment along the surface, m, shape (count,)."""
        return self.widths_deg() / 360 * math.pi * beside(real(self.diameter))

    def per_seam(self, of_segments: Floats) -> Floats:
        """Sum of a segment's value (shape (count,)) and its neighbour's at each seam, the closing one last."""
        sums = of_segments[..., 1:] + of_segments[..., :-1]
        return np.append(sums, of_segments[..., :1] + of_segments[..., -1:], axis=-1) if self.full_wrap else sums

    def sag(self) -> float:
        """Sag at the edge of the widest segment, m."""
        return self.window.sag(math.pi * float(self.widest))


def _wider(one: Any, other: Any) -> Any:
    return np.maximum(one, other)


def plan_segments(job: Job, *, tilt: float = 0.0) -> SegmentPlan:
    """Split the job's mark into segments. `tilt`: slope of a cone's axis on its rollers (`band.axis_slope`).

    Raises `PlanError` when the mark is longer than the circumference, meets a keep-out arc or takes more than
    `LARGEST_COUNT` segments, and `WindowError` when a segment asked for is wider than the window allows.
    """
    diameter = job.part.diameter.exact
    window = marking_window(job.window, float(diameter) / 2, band_of(job, tilt))
    total = mark_turns(job)
    widest = window.half_angle / math.pi
    request = job.segments
    if request.seams == "in-gaps":
        plan = SegmentPlan(_gap_blocks(job, total, widest), window, diameter, total, "seams in the artwork's gaps")
    elif request.angle is not None:
        blocks = _angle_blocks(total, request.angle.exact, job.mark)
        plan = SegmentPlan(blocks, window, diameter, total, "segment angle asked for")
    else:
        count = request.count or _fewest(total, widest)
        width = total / count
        blocks = (SegmentBlock(job.mark.first_centre(width), width, width, count),)
        words = "segment count asked for" if request.count else "fewest equal segments"
        plan = SegmentPlan(blocks, window, diameter, total, words)
    _check_width(plan)
    _check_keep_out(job, plan)
    return plan


def require_whole_steps(plan: SegmentPlan, per_turn: Fraction) -> None:
    """Raise `PlanError` where a segment is narrower than a microstep, `per_turn` of which make a turn of the part."""
    narrowest = min(block.width for block in plan.blocks) * per_turn
    if narrowest < 1:
        most = min(int(plan.total * per_turn), LARGEST_COUNT)
        long = f"the mark is {float(plan.total * per_turn):.6g} microsteps long"
        remedy = f"Ask for {max(most, 1)} segments at the most: {long}"
        raise PlanError("a segment narrower than a microstep", float(narrowest), "microsteps", 1, remedy)


def mark_turns(job: Job) -> Fraction:
    """How far around the mark runs, in turns (arc over pi times diameter, or the angle)."""
    mark, diameter = job.mark, job.part.diameter
    if mark.angle is not None:
        return mark.angle.exact
    if mark.arc is None:
        raise InputError("neither arc nor angle is given", "Give one of them", key="mark")
    total = mark.arc.exact / (PI * diameter.exact)
    if total > 1:
        raise PlanError(
            "mark.arc is longer than the part's circumference",
            mark.arc.si * 1e3,
            "mm",
            math.pi * diameter.si * 1e3,
            f'Write mark.angle = "360 deg" for a full wrap, or check part.{_size_slip(job, float(total))}',
        )
    return total


def _size_slip(job: Job, turns: float) -> str:
    """The key that says how thick the part is, and what may be confused there where the mark takes so many `turns`."""
    key = "diameter" if job.part.circumference is None else "circumference"
    size = f"{key} = {getattr(job.part, key)}"
    if turns <= 2 and key == "diameter":
        return f"{size}: the radius in its place?"
    return f"{size}: inches written as millimetres?" if turns <= _INCH_MM else size


def _fewest(total: Fraction, widest_turns: float) -> int:
    count = max(1, math.ceil(float(total) / widest_turns - _SLACK))
    if count > LARGEST_COUNT:
        raise PlanError("segments needed", count, "", LARGEST_COUNT, "Check window and diameter")
    return count


def _angle_blocks(total: Fraction, width: Fraction, mark: Mark) -> tuple[SegmentBlock, ...]:
    """Segments of the width asked for; what is left over makes a narrower last one."""
    whole = int(total / width)
    rest = total - whole * width
    start = mark.first_centre(min(width, total))
    if whole == 0:
        return (SegmentBlock(start, total, total, 1),)
    if whole > LARGEST_COUNT:
        raise PlanError("segments needed", whole, "", LARGEST_COUNT, "Ask for a larger segments.angle")
    blocks: tuple[SegmentBlock, ...] = (SegmentBlock(start, width, width, whole),)
    if rest > width * Fraction(1, 10**9):
        centre = start - width / 2 + whole * width + rest / 2
        blocks += (SegmentBlock(centre, rest, rest, 1),)
    return blocks


def _gap_blocks(job: Job, total: Fraction, widest_turns: float) -> tuple[SegmentBlock, ...]:
    circumference = PI * job.part.diameter.exact
    edges = split_in_gaps(job.mark.gaps, total * circumference, Fraction(widest_turns) * circumference)
    widths = [(end - start) / circumference for start, end in itertools.pairwise(edges)]
    begin = job.mark.first_centre(widths[0]) - widths[0] / 2
    blocks = []
    for width in widths:
        blocks.append(SegmentBlock(begin + width / 2, width, width, 1))
        begin += width
    return tuple(blocks)


def _check_width(plan: SegmentPlan) -> None:
    widest = float(plan.widest * 360)
    if widest > plan.window.widest_deg * (1 + _SLACK):
        raise WindowError(
            f"segment of {float(plan.widest * plan.diameter * PI) * 1e3:.2f} mm is wider than the "
            f"{plan.window.binding.name} allows",
            widest,
            "deg",
            plan.window.widest_deg,
            f"Ask for at least {_fewest(plan.total, plan.window.half_angle / math.pi)} segments, "
            "or a balanced focus, or a deeper window",
        )


def _check_keep_out(job: Job, plan: SegmentPlan) -> None:
    for arc in job.part.keep_out:
        offset = (arc.start.exact - plan.start) % 1
        ahead, behind = offset < plan.total, offset + arc.length > 1
        if not ahead and not behind:
            continue
        # A mark whose beginning is free is too long or begins too late; else it begins too early.
        end, limit = ("begins", offset + arc.length - 1) if behind else ("ends", offset)
        raise PlanError(
            f"the mark runs into the keep-out arc {arc.start} to {arc.end}: the mark {end} at",
            float((plan.start + (0 if behind else plan.total)) * 360),
            "deg",
            float((plan.start + limit) * 360),
            "Move mark.start_angle or mark.start_edge, or shorten the mark",
        )
