"""Segments and seams as a document: angles from the job's zero, lengths along the surface, + gap, - overlap."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from firmware_host.planning.layout.choice import explain_choice
from firmware_host.planning.layout.seams import Seams
from firmware_host.planning.plan import Layout
from firmware_host.reporting.assumptions import assumed_table
from firmware_host.reporting.document import Cell, Column, Document, Figure, LongRows, Notes, Row, Table
from firmware_host.reporting.measures import Units
from firmware_host.reporting.plans.first.segments import first_of_segments

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
_RANGE_COLUMNS = (
    Column("lowest_gap_mm", "at least", "mm", "+.4f"),
    Column("highest_gap_mm", "at most", "mm", "+.4f"),
)
_TAPER_COLUMNS = (
    Column("thick_edge_gap_mm", "thick edge", "mm", "+.4f"),
    Column("thin_edge_gap_mm", "thin edge", "mm", "+.4f"),
)
_BUDGET_COLUMNS = (
    Column("cause", "key", brief=False),
    Column("name", "cause"),
    Column("lowest_mm", "at least", "mm", "+.4f"),
    Column("highest_mm", "at most", "mm", "+.4f"),
)


def segments_document(plan: Layout, units: Units = Units.METRIC) -> Document:
    """Where the segments lie, why there are so many, and what to expect at the seams; `units`: those of the reader."""
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
            Notes(_answer(plan.seams)),
            _segments(plan),
            _seams(plan.seams),
            Figure("closing_seam", "The last seam closes the turn", plan.seams.closing),
            _budget(plan.seams),
            Figure("not_known", "Not known, and in no figure here", plan.seams.unknown),
            Notes(plan.seams.warnings, "warnings"),
            replace(assumed_table(plan.assumptions), key=""),
        ),
        first=first_of_segments(plan, units),
    )


def _segments(plan: Layout) -> Table:
    segments = plan.segments
    columns = (segments.centres_deg(), segments.widths_deg(), segments.arcs() * 1e3, plan.route.segment_targets())

    def rows(start: int, stop: int) -> Iterator[Row]:
        values = zip(*(column[start:stop].tolist() for column in columns), strict=True)
        for index, (c, w, arc, target) in enumerate(values, start + 1):
            yield (index, c - w / 2, c + w / 2, c, arc, target)

    return Table("segments", "Segments", _SEGMENT_COLUMNS, LongRows(segments.count, rows))


def _seams(seams: Seams) -> Table:
    last = seams.gap.size if seams.closing else 0
    figures = [seams.gap, seams.uncertainty, seams.lowest, seams.highest]
    tapers = [cause for cause in seams.causes if cause.along]
    for cause in tapers:
        figures += [seams.gap + cause.high, seams.gap + cause.low]

    def rows(start: int, stop: int) -> Iterator[Row]:
        columns = [seams.at_deg[start:stop].tolist(), *((each[start:stop] * 1e3).tolist() for each in figures)]
        for number, values in enumerate(zip(*columns, strict=True), start + 1):
            yield (Cell(number, f"{number}, closing") if number == last else number, *values)

    title = "Seams (+ is a gap, - an overlap)"
    more: tuple[Column, ...] = _RANGE_COLUMNS
    if tapers:
        more = (*(replace(column, brief=False) for column in _RANGE_COLUMNS), *_TAPER_COLUMNS)
    return Table("seams", title, _SEAM_COLUMNS + more, LongRows(seams.gap.size, rows))


def _budget(seams: Seams) -> Table:
    """The largest causes first; what is nothing stays out."""
    causes = sorted((cause for cause in seams.causes if cause.worst > 0), key=lambda cause: -cause.worst)
    rows = tuple(
        (cause.key, cause.name, float(cause.low.min()) * 1e3, float(cause.high.max()) * 1e3) for cause in causes
    )
    return Table("budget", "Where it comes from, at the worst seam (+ is a gap, - an overlap)", _BUDGET_COLUMNS, rows)


def _answer(seams: Seams) -> tuple[str, ...]:
    """The worst seam, what makes it, and what can be done about that."""
    if seams.gap.size == 0:
        return ("One segment, no seam.",)
    lowest, highest = float(seams.lowest.min()) * 1e3, float(seams.highest.max()) * 1e3
    lines = [f"At the seams, from {_side(lowest)} to {_side(highest)}. {_showing(seams)}"]
    largest = max(seams.causes, key=lambda cause: cause.worst)
    if largest.worst > 0:
        remedy = f" {largest.remedy}." if largest.remedy else ""
        lines.append(f"The most comes from {largest.name}: {largest.worst * 1e3:.3f} mm.{remedy}")
    if seams.unknown:
        lines.append(f"Not known, and in no figure here: {', '.join(seams.unknown)}.")
    return tuple(lines)


def _side(gap_mm: float) -> str:
    return f"{abs(gap_mm):.3f} mm of {'overlap' if gap_mm < 0 else 'gap'}"


def _showing(seams: Seams) -> str:
    if seams.tolerance is None:
        return "Give window.spot_diameter to learn whether a seam will show."
    showing = int(seams.showing().sum())
    words = f"{showing} of {seams.gap.size} seams may show" if showing else "no seam should show"
    blank = "; in a gap of the artwork, where marks overlap by more than the gap" if (seams.blank > 0).any() else ""
    return f"A seam shows from {seams.tolerance * 1e3:.3f} mm (half the spot; common practice){blank}: {words}."
