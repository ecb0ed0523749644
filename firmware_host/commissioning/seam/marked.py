"""A part as it was marked: what the geometry of the seams has to be known of it to tell one cause from another."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firmware_host.commissioning.estimates.measured import of_limits
from firmware_host.errors import InputError
from firmware_host.model import Setup
from firmware_host.planning.layout.causes import SeamCause
from firmware_host.planning.plan import Layout

Floats = NDArray[np.float64]

_SUSPECTED = frozenset({"driving-diameter", "lost-motion", "taper", "creep"})
"""Causes of the plan's own budget that are to be found out here, and are no noise of the readings."""


@dataclass(frozen=True)
class MarkedPart:
    """Lengths in m along the surface as entered, + a gap, - an overlap; n segments, s seams, the closing one last.

    `angles` (rad, shape (n,)): where the part is turned to for each segment. `arcs` (n,): width of each. `pitches`
    (s,): from the middle of one segment to that of the next; at a closing seam the rest of the circumference.
    `expected` (s,): the gap to be expected from all that is known; `scatter` (m, standard uncertainty): what each seam
    may be off by itself; `common` (each (s,)): what all may be off together, one standard uncertainty.
    `rolls`: on rollers, `roller_turns` of which make a turn of the part; the rollers' diameter is 0 without them.
    `half_band`: half the width of the mark along the axis, m. `one_side`: every segment is reached from the same side.
    """

    angles: Floats
    arcs: Floats
    pitches: Floats
    expected: Floats
    scatter: float
    common: tuple[Floats, ...]
    diameter: float
    closing: bool
    rolls: bool
    roller_diameter: float
    roller_turns: float
    half_band: float
    one_side: bool

    @property
    def turned(self) -> float:
        """From the middle of the first segment to that of the last, m."""
        return float(self.angles[-1] - self.angles[0]) * self.diameter / 2

    @property
    def inner(self) -> int:
        """How many seams there are besides the closing one."""
        return self.pitches.size - int(self.closing)


def marked_part(setup: Setup, layout: Layout) -> MarkedPart:
    """What `layout` says of the seams of `setup`. Raises `InputError` for a mark without a seam."""
    segments, seams = layout.segments, layout.seams
    if seams.gap.size == 0:
        remedy = "Mark it in two segments or more (segments.count), or measure the mark itself"
        raise InputError("the mark has one segment and no seam", remedy, source=setup.job_source, key="segments")
    arcs = segments.arcs()
    noise = [cause for cause in seams.causes if cause.key not in _SUSPECTED]
    middles = sum((_middle(cause) - cause.certain for cause in noise), np.zeros_like(seams.gap))
    cradle = setup.machine.drive.cradle
    diameter = float(segments.diameter)
    angles = np.radians(segments.centres_deg())
    between = np.diff(angles) * diameter / 2
    rest = math.pi * diameter - float(angles[-1] - angles[0]) * diameter / 2
    width = setup.job.mark.width
    return MarkedPart(
        angles=angles,
        arcs=arcs,
        pitches=np.append(between, rest) if seams.closing else between,
        expected=seams.gap + middles,
        scatter=math.sqrt(sum(_deviation(cause) ** 2 for cause in noise if cause.key == "step-accuracy")),
        common=tuple(of_limits(1.0) * _half(cause) for cause in noise if cause.key != "step-accuracy"),
        diameter=diameter,
        closing=seams.closing,
        rolls=setup.machine.drive.rolls_on_part,
        roller_diameter=cradle.roller_diameter if cradle is not None else 0.0,
        roller_turns=setup.job.part.contact.si / cradle.roller_diameter if cradle is not None else 1.0,
        half_band=width.si / 2 if width is not None else 0.0,
        one_side=layout.route.one_side,
    )


def _middle(cause: SeamCause) -> Floats:
    return (cause.low + cause.high) / 2


def _half(cause: SeamCause) -> Floats:
    return (cause.high - cause.low) / 2


def _deviation(cause: SeamCause) -> float:
    """The standard deviation of a value that lies anywhere in the range alike (JCGM 100:2008, 4.3.7)."""
    return of_limits(float(_half(cause).max()))
