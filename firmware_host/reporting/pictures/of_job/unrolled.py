"""`unrolled`: the surface laid flat with segments, and below it every seam's gap or overlap, magnified."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure

from firmware_host.mechanics.guard import FloatArray
from firmware_host.model import Setup
from firmware_host.planning.layout.segments import SegmentPlan
from firmware_host.planning.plan import JobPlan
from firmware_host.reporting.pictures.picture import Picture, Subject
from firmware_host.reporting.pictures.style import COPPER, GRID, INK, OLIVE, PALE, STEEL, gridded, legend_below

_MOST_NUMBERS = 40
"""More segments than these are not numbered one by one."""


class Unrolled(Picture[Subject]):
    """Where each strip lies along the surface from the beginning of the mark, and what to expect between them."""

    key = "unrolled"
    title = "The part unrolled: segments and seams"
    shows = "where each segment lies on the surface, and the gap or overlap to expect at each seam"

    def draw(self, figure: Figure, of: Subject) -> str:
        flat, seams = figure.subplots(2, 1, sharex=True, height_ratios=(1.5, 1))
        _strips(flat, of.setup, of.plan.segments)
        told = _seams(seams, of.plan)
        if seams.get_legend_handles_labels()[0]:
            legend_below(figure, seams)
        return f"{of.plan.segments.count} segments in a row. {told}"


def along(segments: SegmentPlan, at_deg: FloatArray) -> FloatArray:
    """How far along the surface from the beginning of the mark (mm) angles (degrees, from the job's zero) lie."""
    turned = (at_deg / 360 - float(segments.start)) * math.pi * float(segments.diameter) * 1e3
    return np.asarray(turned)


def _strips(axes: Axes, setup: Setup, segments: SegmentPlan) -> None:
    around = math.pi * float(segments.diameter) * 1e3
    mark = setup.job.mark
    width = mark.width.si * 1e3 if mark.width is not None else setup.job.part.whole_length.si * 1e3
    middle, arcs = along(segments, segments.centres_deg()), segments.arcs() * 1e3
    left, right = middle - arcs / 2, middle + arcs / 2
    low, high = np.full_like(left, -width / 2), np.full_like(left, width / 2)
    corners = np.stack([np.stack([left, left, right, right]), np.stack([low, high, high, low])], axis=-1)
    axes.axvspan(0, around, color=PALE, alpha=0.6, linewidth=0)
    fills = [STEEL if number % 2 == 0 else GRID for number in range(segments.count)]
    axes.add_collection(
        PolyCollection(list(corners.transpose(1, 0, 2)), facecolors=fills, edgecolors=INK, linewidths=0.5, alpha=0.55)
    )
    if segments.count <= _MOST_NUMBERS:
        for number, place in enumerate(middle.tolist(), 1):
            axes.text(place, 0, str(number), ha="center", va="center")
    for gap in mark.gaps:
        axes.axvspan((gap.at.si - gap.width.si / 2) * 1e3, (gap.at.si + gap.width.si / 2) * 1e3, facecolor="none",
                     edgecolor=OLIVE, hatch="xx", linewidth=0)  # fmt: skip
    axes.set_xlim(-0.02 * around, 1.02 * around)
    axes.set_ylim(-0.75 * width, 0.75 * width)
    axes.set_ylabel("along the axis (mm)")
    axes.set_title(f"once around is {around:.5g} mm")


def _seams(axes: Axes, plan: JobPlan) -> str:
    seams = plan.seams
    axes.set_xlabel("along the surface, from where the mark begins (mm)")
    axes.set_ylabel("gap +, overlap - (mm)")
    gridded(axes, along="y")
    axes.axhline(0, color=INK, linewidth=0.8)
    if seams.gap.size == 0:
        axes.text(0.5, 0.6, "one segment, no seam", transform=axes.transAxes, ha="center")
        return "One segment, no seam."
    at, gap = along(plan.segments, seams.at_deg), seams.gap * 1e3
    off = np.stack([seams.below, seams.above]) * 1e3
    axes.errorbar(at, gap, yerr=off, fmt="none", ecolor=COPPER, elinewidth=1.4, capsize=2.5, label="may lie within")
    axes.plot(at, gap, linestyle="none", marker="D", markersize=3.5, color=INK, label="planned")
    if seams.tolerance is not None:
        shows = seams.tolerance * 1e3
        axes.axhspan(-shows, shows, color=OLIVE, alpha=0.2, label="does not show")
    least, most = float(seams.lowest.min()) * 1e3, float(seams.highest.max()) * 1e3
    showing = int(seams.showing().sum())
    told = f"{showing} of {gap.size} may show." if seams.tolerance is not None else "The spot is not stated."
    return f"At the seams from {least:+.3f} to {most:+.3f} mm (+ is a gap, - an overlap). {told}"
