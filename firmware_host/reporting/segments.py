"""Segments and seams as a document: angles from the job's zero, lengths along the surface, + gap, - overlap."""

from __future__ import annotations

import math

from firmware_host.planning.layout.choice import explain_choice
from firmware_host.planning.layout.seams import Seams
from firmware_host.planning.plan import Layout
from firmware_host.reporting.document import Cell, Column, Document, Figure, Notes, Section, Table

_SEGMENT_COLUMNS = (
    Column("index", "segment"),
    Column("start_deg", "from", "deg", ".3f"),
    Column("end_deg", "to", "deg", ".3f"),
    Column("centre_deg", "centre", "deg", ".3f"),
    Column("arc_mm", "arc", "mm", ".3f"),
    Column("", "microstep"),
)
_SEAM_COLUMNS = (
    Column("", "after segment"),
    Column("at_deg", "at", "deg", ".3f"),
    Column("predicted_gap_mm", "gap", "mm", "+.4f"),
    Column("uncertainty_mm", "±", "mm", ".4f"),
)


def segments_document(plan: Layout) -> Document:
    """Where the segments lie, why there are so many, and what to expect at the seams."""
    segments, window = plan.segments, plan.segments.window
    choice = explain_choice(segments)
    depth = window.focal_depth(math.radians(choice.chosen.width_deg) / 2)
    return Document(
        (
            Figure("focus", "Focus", window.focus),
            Figure("max_segment_deg", "Widest segment allowed", window.widest_deg, "deg", ".2f"),
            Figure("bound_by", "It is bound by", window.binding.name),
            Figure("sag_mm", "Edge below the crown", segments.sag() * 1e3, "mm", ".3f"),
            Figure("sag_limit_mm", "Edge below the crown, at most", window.sag_limit * 1e3, "mm", ".3f"),
            Figure("focal_plane_below_crown_mm", "Focal plane below the crown", depth * 1e3, "mm", ".3f"),
            Figure("count", "Segments", segments.count),
            Notes(choice.sentences, "why"),
            _segments(plan),
            _seams(plan.seams),
            Figure("closing_seam", "The last seam closes the turn", plan.seams.closing),
            _budget(plan.seams),
            Notes((_showing(plan.seams),)),
            Notes(plan.seams.warnings, "warnings"),
        )
    )


def _segments(plan: Layout) -> Table:
    segments = plan.segments
    centres, widths, arcs = segments.centres_deg(), segments.widths_deg(), segments.arcs() * 1e3
    columns = (centres.tolist(), widths.tolist(), arcs.tolist(), plan.route.segment_targets().tolist())
    rows = tuple(
        (index, c - w / 2, c + w / 2, c, arc, target)
        for index, (c, w, arc, target) in enumerate(zip(*columns, strict=True), 1)
    )
    return Table("segments", "Segments", _SEGMENT_COLUMNS, rows)


def _seams(seams: Seams) -> Table:
    last = seams.gap.size if seams.closing else 0
    rows = tuple(
        (Cell(number, f"{number}, closing") if number == last else number, at, gap * 1e3, sure * 1e3)
        for number, (at, gap, sure) in enumerate(
            zip(seams.at_deg.tolist(), seams.gap.tolist(), seams.uncertainty.tolist(), strict=True), 1
        )
    )
    return Table("seams", "Seams (+ is a gap, - an overlap)", _SEAM_COLUMNS, rows)


def _budget(seams: Seams) -> Section:
    terms = (Figure("", name, value * 1e3, "mm", ".4f", brief=True) for name, value in seams.terms.items())
    return Section("", "Seam budget, worst case, along the surface (+ is a gap, - an overlap)", tuple(terms))


def _showing(seams: Seams) -> str:
    if seams.tolerance is None:
        return "Give window.spot_diameter to learn whether a seam will show."
    showing = int(seams.showing().sum())
    words = f"{showing} of {seams.gap.size} seams may show" if showing else "no seam should show"
    return f"A seam shows from {seams.tolerance * 1e3:.3f} mm (half the spot; common practice): {words}."
