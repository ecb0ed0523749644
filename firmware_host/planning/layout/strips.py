"""The strips of artwork that go with the segments: where each is cut, how wide it is drawn, and where to focus.

Lengths in m, along the surface rolled out flat, from the mark's beginning on; seen along the axis the part is a circle
of the radius that it is marked at.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import zip_longest
from typing import NamedTuple

import numpy as np

from firmware_host.mechanics.contact.trough import contact_half_angle
from firmware_host.mechanics.optics.flat_field import edge_excess
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.layout.causes import Floats
from firmware_host.planning.layout.segments import SegmentPlan


class Strip(NamedTuple):
    """One strip. `start`, `end`, `centre`: from the mark's beginning, m; `angle_deg`: where the part then stands.

    `pitch`: from its centre to the next strip's, m; None for the last one, unless it meets the first.
    """

    number: int
    start: float
    end: float
    centre: float
    pitch: float | None
    angle_deg: float

    @property
    def width(self) -> float:
        """Along the surface, m."""
        return self.end - self.start


@dataclass(frozen=True)
class Focus:
    """Where the lens is focused, the same for every strip: heights in m, from the crown in the middle of the mark.

    `below`: how far below the crown (>= 0). `edge`: by how much the crown stands higher at one edge of the mark along
    the axis, and lower at the other (>= 0): on a cone that is not levelled. `tilted`: the same for a lens that looks
    straight down onto an axis that is tilted. `above_axis`: the crown above the axis of rotation of a chuck, or above
    the line between the axes of the two rows of rollers; None where a taper leaves it open.
    """

    below: float
    edge: float
    tilted: float
    above_axis: float | None
    on_rollers: bool


def pitches(plan: SegmentPlan) -> Floats:
    """From each strip's centre to the next one's, m, the one back to the first last on a full wrap: shape (seams,)."""
    centres = plan.centres_deg() / 360
    if plan.full_wrap and plan.count > 1:
        centres = np.append(centres, centres[0] + 1)
    return np.diff(centres) * math.pi * float(plan.diameter)


def strips(plan: SegmentPlan, start: int = 0, stop: int | None = None) -> Iterator[Strip]:
    """The strips `start` to `stop` (counted from 0) in the order in which they are marked, all if unsaid."""
    around, begin = math.pi * float(plan.diameter), float(plan.start)
    to_next = pitches(plan)[start:stop].tolist()
    angles, arcs = plan.centres_deg()[start:stop].tolist(), plan.arcs()[start:stop].tolist()
    for number, (angle, arc, pitch) in enumerate(zip_longest(angles, arcs, to_next), start + 1):
        centre = (angle / 360 - begin) * around
        yield Strip(number, centre - arc / 2, centre + arc / 2, centre, pitch, angle)


def drawn_flat(plan: SegmentPlan) -> tuple[Floats, Floats]:
    """What a lens does with strips that are drawn flat, as they lie: (overlap, width), each m, shape (blocks,).

    overlap (>= 0): by how much two such neighbours overlap where nothing corrects for the round surface. width: how
    wide to draw the strip so that its edges land where they belong: 2r sin(w/2r).
    """
    radius = plan.window.radius
    arcs = np.array([math.pi * float(block.width * plan.diameter) for block in plan.blocks])
    overlap = 2 * edge_excess(arcs, radius, corrected=False)
    return overlap, 2 * radius * np.sin(np.minimum(arcs / (2 * radius), math.pi / 2))


def focus_of(machine: Machine, job: Job, plan: SegmentPlan) -> Focus:
    """Where to focus for all strips of a plan."""
    band, window = plan.window.band, plan.window
    half_width = job.mark.width.si / 2 if job.mark.width is not None else 0.0
    return Focus(
        below=window.focal_depth(math.pi * float(plan.widest)),
        edge=band.rise,
        tilted=half_width * math.tan(machine.axis.tilt.si) if 0 < machine.axis.tilt.si < math.pi / 2 else 0.0,
        above_axis=_crown_above_axis(machine, job, window.radius),
        on_rollers=machine.drive.cradle is not None,
    )


def _crown_above_axis(machine: Machine, job: Job, radius: float) -> float | None:
    """From the triangle of the three centres where the part lies on rollers."""
    cradle = machine.drive.cradle
    if cradle is None:
        return radius
    if job.part.taper > 0:
        return None
    contact = job.part.contact.si
    half_angle = contact_half_angle(contact, cradle.roller_diameter, cradle.centre_distance)
    return radius + (contact + cradle.roller_diameter) / 2 * math.cos(half_angle)
