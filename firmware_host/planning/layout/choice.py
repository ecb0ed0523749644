"""Why this many segments: what decides, what one fewer would cost in sag, what one more would cost in seams."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from firmware_host.planning.layout.segments import SegmentPlan
from firmware_host.planning.layout.window import MarkingWindow


@dataclass(frozen=True)
class Alternative:
    """Another count: `width_deg`, `arc` (m), `sag` at the edge (m), number of `seams`."""

    count: int
    width_deg: float
    arc: float
    sag: float
    seams: int


class SegmentChoice(NamedTuple):
    """The count chosen with its neighbours; `fewer` is None when one segment is enough."""

    chosen: Alternative
    fewer: Alternative | None
    more: Alternative
    binding: str
    sentences: tuple[str, ...]


def explain_choice(plan: SegmentPlan) -> SegmentChoice:
    """Explain a plan's count against one fewer and one more equal segments."""
    chosen = _alternative(plan, plan.count)
    fewer = _alternative(plan, plan.count - 1) if plan.count > 1 else None
    more = _alternative(plan, plan.count + 1)
    return SegmentChoice(chosen, fewer, more, plan.window.binding.name, _sentences(plan, chosen, fewer, more))


def _alternative(plan: SegmentPlan, count: int) -> Alternative:
    turns = float(plan.total) / count if count != plan.count else float(plan.widest)
    return Alternative(
        count=count,
        width_deg=360 * turns,
        arc=math.pi * float(plan.diameter) * turns,
        sag=plan.window.sag(math.pi * min(turns, 1.0)),
        seams=count if plan.full_wrap else count - 1,
    )


def _sentences(plan: SegmentPlan, chosen: Alternative, fewer: Alternative | None, more: Alternative) -> tuple[str, ...]:
    window, limit_mm = plan.window, plan.window.sag_limit * 1e3
    lines = [
        f"{chosen.count} segments ({plan.request}), the widest {chosen.width_deg:.2f} deg = {chosen.arc * 1e3:.2f} mm; "
        f"at most {window.widest_deg:.2f} deg is allowed, by {window.binding.name}.",
        f"Its edge lies {chosen.sag * 1e3:.3f} mm below the crown; {window.focus} focus allows {limit_mm:.3f} mm.",
    ]
    if window.focus == "balanced":
        depth = window.focal_depth(math.radians(chosen.width_deg) / 2)
        lines.append(f"Set the focal plane {depth * 1e3:.3f} mm below the crown.")
    if window.band.taper > 0:
        lines.append(_along_the_axis(window, chosen))
    if fewer is not None and fewer.width_deg > window.widest_deg * (1 + 1e-9):
        if fewer.sag > window.sag_limit:
            cost = f"edges would lie {(fewer.sag - window.sag_limit) * 1e3:.3f} mm outside the window and fade"
        else:
            cost = f"it would be wider than the {window.binding.name} allows"
        lines.append(f"One fewer: {fewer.width_deg:.2f} deg each, sag {fewer.sag * 1e3:.3f} mm: {cost}.")
    elif fewer is not None and plan.request.startswith("seams"):
        lines.append(f"{fewer.count} equal segments would fit the window too, but cut through the artwork.")
    elif fewer is not None:
        lines.append(f"One fewer would still fit: {fewer.width_deg:.2f} deg each, sag {fewer.sag * 1e3:.3f} mm.")
    lines.append(
        f"One more: {more.width_deg:.2f} deg each, sag {more.sag * 1e3:.3f} mm, "
        f"{more.seams} seams instead of {chosen.seams}."
    )
    return tuple(lines)


def _along_the_axis(window: MarkingWindow, chosen: Alternative) -> str:
    """What a cone's band takes of the window along the axis, or would take if it were not level."""
    band, whole = window.band, window.depth
    if band.slope > 0:
        return (
            f"Along the axis its {2e3 * band.reach:.4g} mm rise and fall {band.rise * 1e3:.2f} mm, which counts in the "
            "window; with the marked line levelled (mark.levelled = true) it would not."
        )
    return (
        f"The marked line lies level. On a level axis its {2e3 * band.reach:.4g} mm would rise and fall "
        f"{band.thicker * 1e3:.2f} mm, and the sag leaves {(whole - chosen.sag) * 1e3:.2f} of the window's "
        f"{whole * 1e3:.2f} mm."
    )
