"""Plans as JSON documents: the shapes that `--json` promises."""

from __future__ import annotations

import math
from typing import Any

from firmware_host.planning.layout.choice import explain_choice
from firmware_host.planning.plan import Layout


def segments_document(plan: Layout) -> dict[str, Any]:
    """Segments and seams; angles in degrees from the job's zero, lengths in mm, + gap, - overlap."""
    segments, seams = plan.segments, plan.seams
    centres, widths, arcs = segments.centres_deg(), segments.widths_deg(), segments.arcs() * 1e3
    choice = explain_choice(segments)
    window = segments.window
    return {
        "focus": window.focus,
        "max_segment_deg": window.widest_deg,
        "bound_by": window.binding.name,
        "sag_mm": segments.sag() * 1e3,
        "sag_limit_mm": window.sag_limit * 1e3,
        "focal_plane_below_crown_mm": window.focal_depth(math.radians(choice.chosen.width_deg) / 2) * 1e3,
        "count": segments.count,
        "why": list(choice.sentences),
        "segments": [
            {"index": index, "start_deg": c - w / 2, "end_deg": c + w / 2, "centre_deg": c, "arc_mm": arc}
            for index, (c, w, arc) in enumerate(zip(centres.tolist(), widths.tolist(), arcs.tolist(), strict=True), 1)
        ],
        "seams": [
            {"at_deg": at, "predicted_gap_mm": gap * 1e3, "uncertainty_mm": sure * 1e3}
            for at, gap, sure in zip(seams.at_deg.tolist(), seams.gap.tolist(), seams.uncertainty.tolist(), strict=True)
        ],
        "closing_seam": seams.closing,
        "warnings": list(seams.warnings),
    }
