"""Seams in the artwork's gaps: the fewest segments whose ends all lie inside gaps."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from firmware_host.errors import PlanError
from firmware_host.model.job.mark import ArtworkGap


def split_in_gaps(gaps: Sequence[ArtworkGap], total: Fraction, widest: Fraction) -> list[Fraction]:
    """Edges of the segments along the arc (m, exact), from 0 to `total`, none further than `widest` from the last.

    Each inner edge lies within a gap: in its middle where that takes no more segments, else as far into the gap as
    the widest segment reaches. Raises `PlanError` naming the stretch that has no gap near enough.
    """
    spans = sorted(
        (gap.at.exact - gap.width.exact / 2, gap.at.exact, gap.at.exact + gap.width.exact / 2) for gap in gaps
    )
    furthest = _split([(low, high) for low, _, high in spans], total, widest)
    try:
        middles = _split([(low, middle) for low, middle, _ in spans], total, widest)
    except PlanError:
        return furthest
    return middles if len(middles) <= len(furthest) else furthest


def _split(spans: Sequence[tuple[Fraction, Fraction]], total: Fraction, widest: Fraction) -> list[Fraction]:
    """Edges found by going as far as possible each time, each inner one within a span (from, to)."""
    edges = [Fraction(0)]
    while total - edges[-1] > widest:
        reach = edges[-1] + widest
        within = [min(high, reach) for low, high in spans if low <= reach and edges[-1] < min(high, reach) < total]
        if not within:
            later = min((low for low, _ in spans if low > edges[-1]), default=total)
            raise PlanError(
                f"no artwork gap within reach after {float(edges[-1]) * 1e3:.2f} mm: next one at",
                float(later) * 1e3,
                "mm",
                float(reach) * 1e3,
                "Add a gap to the artwork there, deepen the window, or leave segments.seams at equal",
            )
        edges.append(max(within))
    edges.append(total)
    return edges
