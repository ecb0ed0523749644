"""The card for the marking side: what to enter at the laser, where to focus, how the part turns, what comes next.

Lengths are along the surface rolled out flat. It says things in words and figures that every marking program has, and
imitates the form of none.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import pi

import numpy as np

from firmware_host.model import Setup
from firmware_host.planning.layout.causes import Floats
from firmware_host.planning.layout.segments import SegmentPlan
from firmware_host.planning.layout.strips import Focus, drawn_flat, focus_of, pitches, strips
from firmware_host.planning.plan import Layout
from firmware_host.reporting.document import Cell, Column, Document, Figure, LongRows, Node, Notes, Row, Section, Table

MOST_STRIPS = 20
"""So many strips stand on a card; of more, the first and the last ones."""

_COLUMNS = (
    Column("number", "strip"),
    Column("from_mm", "from", "mm", ".3f"),
    Column("to_mm", "to", "mm", ".3f"),
    Column("width_mm", "width", "mm", ".3f"),
    Column("pitch_mm", "to next centre", "mm", ".3f"),
    Column("part_deg", "part at", "deg", ".3f"),
    Column("focus_below_crown_mm", "focus below crown", "mm", ".3f", brief=False),
)
FLAT = {
    True: ("The laser draws for a round surface: enter the widths as they are.",),
    False: ("The laser draws flat, and does not correct for the round surface:",),
    None: ("If the laser draws for a round surface, enter the widths as they are; if flat:",),
}
_SIDES = {"clockwise": ("right", "left"), "counter-clockwise": ("left", "right")}
FINISH = {
    "stay": "After the last strip the part stays where it is.",
    "unwind": "After the last strip the part turns back to its start mark.",
    "next-turn": "After the last strip the part turns on until its start mark is on top again.",
}


def card_document(setup: Setup, layout: Layout) -> Document:
    """What the person at the laser needs for one part of a job; at most 60 lines of 80 characters."""
    plan, mark = layout.segments, setup.job.mark
    focus = focus_of(setup.machine, setup.job, plan)
    along = mark.width.si * 1e3 if mark.width is not None else None
    whole_mm = float(plan.total) * _around_mm(plan)
    return Document(
        (
            Figure("job", "Card for the marking side", setup.job.name, brief=True),
            Figure("machine", "Machine", setup.machine.name),
            Figure("segments", "Strips of artwork, one for each segment", plan.count, brief=True),
            Figure("passes", "Passes on each strip", mark.passes, brief=True),
            *_sizes(plan),
            Figure("along_axis_mm", "Along the axis", along, "mm", ".3f", brief=along is not None),
            _focus(focus, plan, level=setup.machine.axis.tilt.si == 0),
            Figure("passes_in_all", "Passes in all", plan.count * mark.passes, brief=True),
            Figure("whole_mm", "Whole artwork, rolled out flat", whole_mm, "mm", ".3f", brief=True),
            _flat(plan, setup.job.window.flat_field_corrected),
            Notes(order_lines(plan.count, mark.passes), "order"),
            _start(plan),
            Figure("turns", "The part turns", setup.machine.axis.turns),
            Notes(turning_lines(setup.machine.axis.turns), "turning"),
            Notes((FINISH[setup.job.index.finish],), "finish"),
            *_tables(plan, focus),
        )
    )


def _around_mm(plan: SegmentPlan) -> float:
    return pi * float(plan.diameter) * 1e3


def _sizes(plan: SegmentPlan) -> Iterator[Node]:
    """Width and pitch, where they are the same for all strips; else what they reach from and to."""
    yield from _one_or_range("width_mm", "Width of each strip", plan.arcs() * 1e3)
    if (between := pitches(plan)).size:
        yield from _one_or_range("pitch_mm", "Pitch from centre to centre", between * 1e3)


def _one_or_range(key: str, label: str, values: Floats) -> Iterator[Figure]:
    """One value, or none with its two ends."""
    low, high = float(values.min()), float(values.max())
    if high - low < 1e-6:
        yield Figure(key, label, low, "mm", ".3f", brief=True)
        return
    yield Figure(key, label, None)
    yield Figure("", f"{label}, at least (see the table)", low, "mm", ".3f", brief=True)
    yield Figure("", f"{label}, at most", high, "mm", ".3f", brief=True)


def order_lines(count: int | None, passes: int) -> tuple[str, ...]:
    """How often the gate opens, and in which order the strips are marked; `count`: None where it is not always so."""
    times = "once" if passes == 1 else f"{passes} times"
    strip = "the strip" if count == 1 else "each strip"
    lines = [f"The gate opens {times} for {strip}. Each time: mark the strip once, say done."]
    if count is None or count > 1:
        lines.append(f"Order: strip 1 to {count or 'last'}. When one is done, load the next while the part turns.")
        lines.append("When the last one is done, load strip 1 again for the next part.")
    return tuple(lines)


def _flat(plan: SegmentPlan, corrected: bool | None) -> Section:
    """What to enter where the marking side draws the strips flat."""
    overlaps, widths = drawn_flat(plan)
    worst = int(np.argmax(overlaps))
    meet = "each is drawn" if len(plan.blocks) == 1 else "the widest is drawn"
    flat, width_mm = corrected is not True, float(widths[worst]) * 1e3
    return Section(
        "flat",
        "",
        (
            Notes(FLAT[corrected]),
            Figure("corrected", "The laser draws for a round surface", corrected),
            Figure("overlap_mm", "Neighbours overlap by up to", float(overlaps[worst]) * 1e3, "mm", ".3f", brief=flat),
            Figure("drawn_width_mm", f"Their edges meet when {meet} this wide", width_mm, "mm", ".3f", brief=flat),
        ),
    )


def _focus(focus: Focus, plan: SegmentPlan, *, level: bool) -> Section:
    """Where to focus; on a cone, or a tilted axis, how the surface falls along the mark."""
    on_it = "on the crown, the part's highest line" if focus.below == 0 else ""
    below = Figure("below_crown_mm", "Focus below the crown, for every strip", focus.below * 1e3, "mm", ".3f", True)
    if on_it:
        below = replace(below, label="Focus, for every strip", unit="", text=on_it)
    return Section(
        "focus",
        "",
        (
            below,
            _crown(focus),
            Figure("edge_mm", "Crown at the thick edge higher by", focus.edge * 1e3, "mm", ".3f", focus.edge > 0),
            Figure("tilted_mm", "Crown at the upper edge higher by", focus.tilted * 1e3, "mm", ".3f", focus.tilted > 0),
            Notes(tuple(_along(focus, plan, level=level))),
        ),
    )


def _along(focus: Focus, plan: SegmentPlan, *, level: bool) -> Iterator[str]:
    if focus.edge > 0:
        yield "It is as much lower at the thin edge: focus in the middle of the mark."
    elif plan.window.band.taper > 0:
        yield "The marked line of the cone lies level: the focus is the same along it."
    if not level:
        yield "The axis is tilted: tilt the lens with it, so that it looks square onto it."


def _crown(focus: Focus) -> Figure:
    height = focus.above_axis
    label = "Crown above the axis of rotation"
    if focus.on_rollers:
        label = "Crown above the line between the rollers' axes"
    value = height * 1e3 if height is not None else None
    return Figure("crown_above_axis_mm", label, value, "mm", ".3f", brief=height is not None)


def _start(plan: SegmentPlan) -> Section:
    """Where the start mark is to be, and where strip 1 lies from it."""
    first_deg = float(plan.blocks[0].first * 360)
    begins_mm = float(plan.start) * _around_mm(plan)
    where = "Strip 1 has its middle there."
    if first_deg:
        where = f"Strip 1 has its middle {first_deg:+.3f} deg from there (+: as the mark runs)."
    return Section(
        "start",
        "",
        (
            Notes(("Start: the part's start mark on top, under the lens, as the zero is set.", where)),
            Figure("first_centre_deg", "Middle of strip 1, from the start mark", first_deg, "deg", ".3f"),
            Figure("begins_mm", "Beginning of the mark, from the start mark", begins_mm, "mm", "+.3f", brief=True),
        ),
    )


def turning_lines(turns: str | None) -> tuple[str, ...]:
    """Which way the part turns, and on which side the next strip lies."""
    if turns is None:
        return (
            "Which way the part turns is not stated (axis.turns in the machine file). Look:",
            "the next strip lies on the side from which the surface comes up to the lens.",
        )
    to, of = _SIDES[turns]
    return (
        f"It turns {turns}, for somebody at its free end who faces the drive:",
        f"on top it moves to the {to}, and the next strip lies to the {of} of this one.",
    )


def _tables(plan: SegmentPlan, focus: Focus) -> Iterator[Table]:
    def rows(start: int, stop: int) -> Iterator[Row]:
        for strip in strips(plan, start, stop):
            pitch = strip.pitch * 1e3 if strip.pitch is not None else None
            ends = (strip.start * 1e3, strip.end * 1e3, strip.width * 1e3)
            yield (strip.number, *ends, pitch, strip.angle_deg, focus.below * 1e3)

    every = LongRows(plan.count, rows)
    yield Table("strips", "", _COLUMNS, every, brief=False)
    shown: Sequence[Row] = every
    if plan.count > MOST_STRIPS:
        half = MOST_STRIPS // 2
        gap: Row = (Cell("...", "..."), *(Cell("", "") for _ in _COLUMNS[1:]))
        shown = (*every[:half], gap, *every[plan.count - half :])
    yield Table("", "Strips, from the beginning of the artwork", _COLUMNS, shown)
