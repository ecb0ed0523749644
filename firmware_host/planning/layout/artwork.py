"""What the artwork does to the seams: drawn flat it comes out too wide, and on a cone its pitch fits one place only."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from firmware_host.mechanics.guard import beside, real
from firmware_host.mechanics.optics.cone import edge_gap
from firmware_host.mechanics.optics.flat_field import edge_excess
from firmware_host.model.job.window import Window
from firmware_host.planning.layout.causes import Floats, SeamCause
from firmware_host.planning.layout.segments import SegmentPlan
from firmware_host.units import PI

#: Shortest focal length (m) of a lens that says nothing of itself, not even how wide its field is: from memory.
SHORTEST_LENS = 0.06
_NARROWER = "ask for more, narrower segments (segments.count)"
_FOR_TAPER = "Mark narrower bands (mark.width), or fan the artwork out towards the cone's thick end"


def artwork_causes(plan: SegmentPlan, window: Window) -> Iterator[SeamCause]:
    """What the flat field, the slant of the lens's rays and the part's taper do to each seam, each as a range."""
    depth = plan.window.focal_depth(math.pi * real(plan.widest))
    corrections = (True, False) if window.flat_field_corrected is None else (window.flat_field_corrected,)
    straight = [_excess(plan, corrected) for corrected in corrections]
    slanted = [
        _excess(plan, corrected, depth, lens) - plain
        for corrected, plain in zip(corrections, straight, strict=True)
        for lens in _lenses(window)
    ]
    uncorrected, lens = window.flat_field_corrected is None, len(_lenses(window)) > 1
    yield SeamCause("flat-field", _flat_words(window), *_range(straight), _flat_remedy(window), assumed=uncorrected)
    yield SeamCause("lens-slant", _lens_words(window), *_range(slanted), _lens_remedy(window), assumed=lens)
    band = plan.window.band
    if np.all(band.taper > 0):
        sizes = (beside(each) for each in (band.taper, band.reach, 2 * plan.window.radius))
        opened = edge_gap(plan.per_seam(plan.arcs()) / 2, *sizes)
        name = f"taper, at the edges of {2e3 * float(np.max(band.reach)):.4g} mm" + (
            " (assumed)" if band.assumed else ""
        )
        yield SeamCause("taper", name, -opened, opened, _FOR_TAPER, along=True, assumed=band.assumed)


def taper_warning(plan: SegmentPlan, tolerance: float | None) -> str:
    """What the taper does to the seams and what to do about it, a sentence; nothing without taper."""
    band = plan.window.band
    opened = float(edge_gap(plan.arcs().max(), band.taper, band.reach, 2 * plan.window.radius))
    if opened == 0:
        return ""
    hidden = 2e3 * band.reach * tolerance / opened if tolerance is not None else math.inf
    narrow = f" (below {hidden:.3g} mm it does not show)" if hidden < 2e3 * band.reach else ""
    return (
        f"On the cone every seam gapes by {opened * 1e3:.3f} mm at the thick edge of the mark and overlaps by as much "
        f"at the thin one: mark narrower bands{narrow}, or fan the artwork out towards the thick end."
    )


def _lenses(window: Window) -> tuple[float | None, ...]:
    """The focal lengths (m) to look at, None for rays that come straight down, as those of a very long lens do.

    No lens draws a field wider than its focal length (common practice, from memory), so a field bounds it from below.
    """
    if window.telecentric:
        return (None,)
    if window.focal_length is None:
        return (None, window.lens_field.si if window.lens_field is not None else SHORTEST_LENS)
    return (window.focal_length.si,) if window.telecentric is False else (None, window.focal_length.si)


def _excess(plan: SegmentPlan, corrected: bool, depth: float = 0.0, lens: float | None = None) -> Floats:
    """What the edges of both neighbours do to each seam, m, - an overlap. Shape (s,)."""
    arcs = np.stack([real(block.width * plan.diameter * PI) for block in plan.blocks], axis=-1)
    radius, depths = beside(plan.window.radius), beside(depth)
    edges = edge_excess(arcs, radius, corrected=corrected, focal_depth=depths, focal_length=lens)
    if corrected and lens is None:  # right but for the last digit
        edges = np.zeros_like(edges)
    return -plan.per_seam(np.repeat(edges, [block.count for block in plan.blocks], axis=-1)) + 0.0


def _range(cases: list[Floats]) -> tuple[Floats, Floats]:
    return np.min(cases, axis=0), np.max(cases, axis=0)


def _flat_words(window: Window) -> str:
    said = {None: "if it is not corrected", True: "corrected", False: "not corrected"}
    return f"artwork drawn flat, {said[window.flat_field_corrected]}"


def _lens_words(window: Window) -> str:
    """What is known of the lens's rays, in words."""
    if window.telecentric:
        return "slant of the rays, telecentric lens"
    if window.focal_length is not None:
        leaning = "" if window.telecentric is False else ", if it is not telecentric"
        return f"slant of the rays, {window.focal_length} lens{leaning}"
    (shortest,) = (lens for lens in _lenses(window) if lens is not None)
    return f"slant of the rays, lens of at least {shortest * 1e3:.4g} mm (assumed)"


def _flat_remedy(window: Window) -> str:
    correct = "Have the marking side draw the artwork for a round surface"
    if window.flat_field_corrected is None:
        return f"Say whether the marking side corrects for it (window.flat_field_corrected), or {_NARROWER}"
    return f"{correct}, or {_NARROWER}"


def _lens_remedy(window: Window) -> str:
    if window.focal_length is None or window.telecentric is None:
        return f"Say what lens it is (window.focal_length, or window.telecentric), or {_NARROWER}"
    return f"Use a telecentric lens, or {_NARROWER}"
