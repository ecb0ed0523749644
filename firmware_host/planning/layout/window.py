"""From the marking window to the widest segment.

Source: circle geometry (sag s = r*(1 - cos phi)); incidence and lens field as in the module's functions. Angles in rad.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from firmware_host.errors import WindowError
from firmware_host.mechanics.optics.beam import rayleigh_length, window_half_depth
from firmware_host.model.job.window import Beam, Window
from firmware_host.planning.layout.band import Band

#: The band of a part without taper.
LEVEL = Band()


@dataclass(frozen=True)
class Bound:
    """One thing that bounds a segment: its name and the half-angle it allows, in rad."""

    name: str
    half_angle: float


@dataclass(frozen=True)
class MarkingWindow:
    """What the window allows on a part: `half_depth` and `sag_limit` in m, `half_angle` in rad.

    `focal_depth` is how far below the crown (m, >= 0) the focal plane is to be set for segments of `half_angle`.
    `radius` m in the middle of the mark; `band`: what a cone's mark takes of the window along the axis.
    """

    focus: str
    half_depth: float
    sag_limit: float
    radius: float
    bounds: tuple[Bound, ...]
    band: Band = LEVEL

    @property
    def binding(self) -> Bound:
        """The bound that decides."""
        return min(self.bounds, key=lambda bound: bound.half_angle)

    @property
    def half_angle(self) -> float:
        """Half the widest segment, rad."""
        return self.binding.half_angle

    @property
    def widest_deg(self) -> float:
        """The widest segment, degrees."""
        return math.degrees(2 * self.half_angle)

    def sag(self, half_angle: float) -> float:
        """How far a segment's edge lies below its crown, m, for a half-angle in rad."""
        sag: float = self.radius * (1 - np.cos(half_angle))
        return sag

    def focal_depth(self, half_angle: float) -> float:
        """Where to put the focal plane below the crown, m: half the largest sag in balanced focus, 0 in crown focus."""
        return self.sag(half_angle) * self.band.sag_factor(self.radius) / 2 if self.focus == "balanced" else 0.0

    @property
    def depth(self) -> float:
        """How deep below the crown the window reaches, m, with nothing lost along the axis."""
        return self.half_depth if self.focus == "crown" else 2 * self.half_depth


def marking_window(window: Window, radius: float, band: Band = LEVEL) -> MarkingWindow:
    """What `window` allows on a part of `radius` (m, > 0, in the middle of the mark).

    Crown focus: s <= w. Balanced focus (focal plane half the sag below the crown): s <= 2w. Incidence: phi <= limit.
    Lens field: chord 2*r*sin(phi) <= field. What a cone's `band` rises and falls takes its part of w first, and where
    the band is level the sag is larger on its thick edge. Raises `WindowError` when the window is as deep as the
    radius, when the band leaves nothing of it, or when nothing bounds the segment before the surface turns away.
    """
    half_depth = _half_depth(window)
    if half_depth >= radius:
        raise WindowError(
            "marking window deeper than the part's radius: half-depth",
            half_depth * 1e3,
            "mm",
            radius * 1e3,
            "Check window.half_depth and part.diameter: a window is a few tenths of a millimetre",
        )
    room = half_depth - band.rise
    if room <= 0:
        raise _band_too_wide(half_depth, band)
    sag_limit = room if window.focus == "crown" else 2 * room
    sag_limit /= band.sag_factor(radius)
    bounds = []
    if sag_limit < radius:
        bounds.append(Bound("depth of focus", math.acos(1 - sag_limit / radius)))
    if window.incidence_limit is not None:
        bounds.append(Bound("incidence limit", window.incidence_limit.si))
    if window.lens_field is not None and window.lens_field.si < 2 * radius:
        bounds.append(Bound("lens field", math.asin(window.lens_field.si / (2 * radius))))
    if not bounds:
        raise WindowError(
            "twice the marking window's half-depth reaches past the part's radius: sag",
            sag_limit * 1e3,
            "mm",
            radius * 1e3,
            "Give window.incidence_limit, so that no segment runs over the horizon",
        )
    return MarkingWindow(window.focus, half_depth, sag_limit, radius, tuple(bounds), band)


def _band_too_wide(half_depth: float, band: Band) -> WindowError:
    narrower = band.reach * half_depth / band.rise
    stated = "mark.width is not stated, so the cone's whole length counts: " if band.assumed else ""
    return WindowError(
        f"{stated}the cone's surface rises and falls along the mark's {2e3 * band.reach:.4g} mm by more than the "
        "marking window holds",
        band.rise * 1e3,
        "mm",
        half_depth * 1e3,
        f"Level the marked line and say so (mark.levelled = true), or mark narrower bands (mark.width): "
        f"{narrower * 1e3:.3g} mm takes half the window, the sag needs the rest",
    )


def _half_depth(window: Window) -> float:
    """The half-depth as given, or from the beam (m)."""
    if window.half_depth is not None:
        return window.half_depth.si
    beam: Beam | None = window.beam
    if beam is None:
        raise ValueError("give either half_depth or beam")
    length = rayleigh_length(beam.waist_diameter.si / 2, beam.wavelength.si, beam.beam_quality)
    return window_half_depth(length, beam.spot_growth)
