"""`end-on`: the part seen along its axis, with the marking window, one segment's sag and the focal plane."""

from __future__ import annotations

import math
from typing import Protocol

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from firmware_host.model.part.part import Arc
from firmware_host.planning.layout.segments import SegmentPlan
from firmware_host.reporting.pictures.picture import Named, Picture
from firmware_host.reporting.pictures.style import COPPER, INK, OLIVE, PALE, STEEL, gridded, legend_below

_MOST_EDGES = 240
"""More edges than these are a grey ring."""


class Segmented(Named, Protocol):
    """What is in segments: a planned job, or a plan by itself, which does not know what is kept clear."""

    @property
    def segments(self) -> SegmentPlan:
        """Where they fall."""

    @property
    def keep_out(self) -> tuple[Arc, ...]:
        """Arcs of the part that must not be marked, as far as they are known."""


class EndOn(Picture[Segmented]):
    """Left the whole part; right the crown, its heights magnified, as a sag is small beside a segment's width."""

    key = "end-on"
    title = "The part end-on: marking window, segment and sag"
    shows = "how far a segment's edges lie below its crown, and how deep the marking window reaches"
    height = 3.7

    def draw(self, figure: Figure, of: Segmented) -> str:
        segments = of.segments
        whole, crown = figure.subplots(1, 2, width_ratios=(1, 1.35))
        _whole(whole, of)
        _crown(crown, segments)
        legend_below(figure, whole, crown, columns=5)
        window, sag = segments.window, segments.sag() * 1e3
        arc = math.pi * float(segments.widest * segments.diameter) * 1e3
        across, depth = float(segments.diameter) * 1e3, window.depth * 1e3
        return (
            f"The part, {across:.4g} mm across, seen along its axis. {segments.count} segments, the widest {arc:.4g} "
            f"mm along the surface; its edges lie {sag:.3g} mm below its crown, and the marking window reaches "
            f"{depth:.3g} mm below it."
        )


def _whole(axes: Axes, of: Segmented) -> None:
    segments = of.segments
    radius = segments.window.radius * 1e3
    around = np.linspace(0, 2 * math.pi, 721)
    axes.fill(radius * np.sin(around), radius * np.cos(around), facecolor=PALE, edgecolor=INK, linewidth=1.2)
    first = float(segments.blocks[0].first)
    starts = segments.centres_deg() - segments.widths_deg() / 2 - first * 360
    edges = np.append(starts, starts[-1] + segments.widths_deg()[-1])
    if edges.size <= _MOST_EDGES:
        turned = np.radians(edges)
        inner = 0.9 * radius
        lines = np.stack([np.sin(turned), np.cos(turned)], axis=-1)
        axes.plot(*np.stack([inner * lines, radius * lines], axis=-1).transpose(1, 2, 0), color=STEEL, linewidth=0.8)
    marked = np.radians(np.linspace(edges[0], edges[-1], 721))
    axes.plot(1.03 * radius * np.sin(marked), 1.03 * radius * np.cos(marked), color=STEEL, label="the mark")
    half = math.pi * float(segments.blocks[0].width)
    wedge = np.append(np.linspace(-half, half, 61), 0.0)
    out = np.append(np.full(61, radius), 0.0)
    axes.fill(out * np.sin(wedge), out * np.cos(wedge), facecolor=COPPER, alpha=0.45, hatch="//", edgecolor=COPPER)
    depth = segments.window.depth * 1e3
    axes.axhspan(radius - depth, radius, color=OLIVE, alpha=0.25, label="marking window")
    for arc in of.keep_out:
        clear = np.radians(np.linspace(float(arc.start.exact) * 360, float(arc.start.exact + arc.length) * 360, 61))
        clear = clear - 2 * math.pi * first
        axes.plot(1.03 * radius * np.sin(clear), 1.03 * radius * np.cos(clear), color=INK, linewidth=3, linestyle=":",
                  label="kept clear")  # fmt: skip
    axes.set_aspect("equal")
    axes.set_axis_off()
    axes.set_title(f"whole, {2 * radius:.4g} mm across")


def _crown(axes: Axes, segments: SegmentPlan) -> None:
    window = segments.window
    half, radius = math.pi * float(segments.widest), window.radius
    reach = min(1.6 * half, math.pi / 2)
    angle = np.linspace(-reach, reach, 401)
    across, below = radius * np.sin(angle) * 1e3, -window.sag(half) * 1e3
    surface = np.array([-window.sag(float(each)) for each in angle]) * 1e3
    axes.plot(across, surface, color=INK, label="surface")
    inside = np.abs(angle) <= half * (1 + 1e-9)
    axes.plot(across[inside], surface[inside], color=COPPER, linewidth=3.2, label="the segment being marked")
    depth, focal = window.depth * 1e3, window.focal_depth(half) * 1e3
    axes.axhspan(-depth, 0, color=OLIVE, alpha=0.2, label="marking window")
    axes.axhline(-focal, color=STEEL, linestyle="--", linewidth=1.2, label="focal plane")
    edge = radius * math.sin(half) * 1e3
    axes.annotate("", xy=(edge, below), xytext=(edge, 0.0), arrowprops={"arrowstyle": "<->", "color": INK})
    axes.text(edge, below * 0.22, f" sag {-below:.3g} mm", va="center")
    deepest = max(depth, -surface.min())
    axes.set_ylim(-1.15 * deepest, 0.2 * deepest)
    axes.set_xlim(across[0] * 1.05, across[-1] * 1.45)
    axes.set_xlabel("across (mm)")
    axes.set_ylabel("below the crown (mm)")
    axes.yaxis.set_major_formatter(lambda value, _: f"{abs(value):.3g}")
    axes.set_title("crown, heights magnified")
    gridded(axes)
