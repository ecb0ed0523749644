"""The stretch of the surface on which a wrong number shows, to look at it near by."""

from __future__ import annotations

import math

from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.preview.exposure import Exposure, exposure_of, middles
from firmware_host.planning.preview.wrong import Wrong

SEGMENTS = 2.6
"""How many of the planned segments are shown near by."""


def shows_at_closing_seam(setup: Setup, plan: JobPlan, wrong: Wrong) -> bool:
    """Whether the closing seam alone shows it: a wrong diameter of a part that rolls, with a band that closes.

    The rollers move the surface by the length that was asked for whatever the part's diameter is, so that the seams
    between are right, and what the circumference is off by comes together where the last segment meets the first.
    """
    return setup.machine.drive.rolls_on_part and plan.segments.full_wrap and wrong.part != 1


def near_by(setup: Setup, plan: JobPlan, wrong: Wrong, points: int) -> Exposure:
    """The first seams, or the closing one in the middle with a half of both its segments at least; `points` wide."""
    arc = float(plan.segments.arcs()[0])
    if not shows_at_closing_seam(setup, plan, wrong):
        return exposure_of(setup, plan, wrong, points=points, span=SEGMENTS * arc)
    around = math.pi * setup.job.part.diameter.si * wrong.part
    first, *_, last = middles(setup, plan.segments, wrong)
    apart = first + around - last
    span = max(SEGMENTS * arc, abs(apart) + arc)
    return exposure_of(setup, plan, wrong, points=points, span=span, left=last + (apart - span) / 2)
