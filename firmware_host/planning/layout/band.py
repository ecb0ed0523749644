"""The mark as a band along a tapered part: how far it reaches, and how its surface rises and falls."""

from __future__ import annotations

import math
from dataclasses import dataclass

from firmware_host.mechanics.optics.cone import band_rise
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine


@dataclass(frozen=True)
class Band:
    """A mark along the axis. `reach` (m, >= 0): from its middle to either edge; `taper`: change of radius per length.

    `slope`: of the line along its top, 0 where that was levelled. `assumed`: no width was stated, so the part's
    whole length counts.
    """

    reach: float = 0.0
    taper: float = 0.0
    slope: float = 0.0
    assumed: bool = False

    @property
    def rise(self) -> float:
        """How much higher one edge lies than the middle, and how much lower the other, m."""
        return band_rise(self.slope, self.reach)

    @property
    def thicker(self) -> float:
        """By how much the radius at the thick edge passes the middle's, m."""
        return self.taper * self.reach

    def sag_factor(self, radius: float) -> float:
        """Largest sag along the band over the sag in its middle, of `radius` (m): a level band's is on its thick edge.

        Where the band is not level the thin edge lies lowest; there the sag is smaller than in the middle.
        """
        return 1 + self.thicker / radius if self.slope == 0 else 1.0


def band_of(job: Job, tilt: float = 0.0) -> Band:
    """The band of a job's mark; a part without taper has none. `tilt`: slope of the axis itself (`axis_slope`)."""
    taper, width = float(job.part.taper), job.mark.width
    if taper == 0:
        return Band()
    reach = (width.si if width is not None else job.part.whole_length.si) / 2
    slope = {True: 0.0, False: taper, None: taper + tilt}[job.mark.levelled]
    return Band(reach, taper, slope, width is None)


def axis_slope(machine: Machine, job: Job) -> float:
    """How steep (tangent, >= 0) a cone's axis lies on rollers that lie level themselves; 0 in a chuck.

    Raises `FormulaRangeError` where the part falls through between the rollers.
    """
    cradle, taper, contact = machine.drive.cradle, float(job.part.taper), job.part.contact.si
    if cradle is None or taper == 0:
        return 0.0
    from firmware_host.mechanics.contact.creep import axis_tilt  # only for a cone on rollers
    from firmware_host.mechanics.contact.trough import contact_half_angle

    half_angle = contact_half_angle(contact, cradle.roller_diameter, cradle.centre_distance)
    return math.tan(float(axis_tilt(taper, half_angle)))
