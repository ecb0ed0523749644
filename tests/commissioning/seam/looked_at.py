"""What a mark looks like, from where its surface lies under the lens: circle geometry, nothing of the causes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from firmware_host.commissioning.seam.symptoms import Symptom

_SEEN = 0.02e-3
"""A place that lies so far beyond the window is seen to be faded (m)."""


@dataclass(frozen=True)
class Optics:
    """How the mark really lies under the lens; lengths in m, angles in rad.

    `half_depth` of the window about the focal plane, which lies `focus` below the crown (- above); the crown stands
    `beside` the middle of the field; the axis falls by `tilt` towards the right end, where the part is `thicker` in
    radius by that share than in the middle.
    """

    half_depth: float
    focus: float = 0.0
    beside: float = 0.0
    tilt: float = 0.0
    thicker: float = 0.0


def looks(optics: Optics, radius: float, half_angle: float, half_band: float) -> Iterator[Symptom]:
    """What is seen of a segment of `half_angle` on a part of `radius`, marked `half_band` to each side along it."""
    at = math.asin(optics.beside / radius)

    def faded(edge: int, end: int) -> bool:
        """At `edge` around (-1, 0, 1) and `end` along (-1, 0, 1)."""
        here = radius * (1 + optics.thicker * end)
        lies = radius - here * math.cos(at + edge * half_angle) + optics.tilt * half_band * end
        return abs(lies - optics.focus) > optics.half_depth + _SEEN

    edges = [faded(edge, 0) for edge in (-1, 1)]
    if all(edges):
        yield Symptom.FADED_AT_BOTH_EDGES
    elif any(edges):
        yield Symptom.FADED_AT_ONE_EDGE
    ends = [faded(0, end) for end in (-1, 1)]
    if ends[0] != ends[1]:
        yield Symptom.FADED_AT_ONE_END
