"""What the marking side has to know of each of many parts: its strips and where to focus."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from firmware_host.model import Setup
from firmware_host.model.files.parts import PartRow
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.layout.strips import Focus, drawn_flat, focus_of, pitches
from firmware_host.planning.many.rows import PartTable, Spread, each_planned
from firmware_host.planning.plan import place_segments


@dataclass(frozen=True)
class PartStrips:
    """The strips of a part, lengths in m. `width`: of the widest, `pitch`: of the farthest, None without a seam.

    `narrowest`: the least width. `overlap`, `drawn_width`: of the widest strip where that is drawn flat (`drawn_flat`).
    `begins`: the mark's beginning, from the start mark along the surface.
    """

    diameter: float
    count: int
    passes: int
    width: float
    narrowest: float
    pitch: float | None
    overlap: float
    drawn_width: float
    begins: float
    focus: Focus


@dataclass(frozen=True)
class PartCard:
    """A part with its strips; None where it can't be laid out, and `trouble` says why."""

    row: PartRow
    strips: PartStrips | None
    trouble: str = ""


def cards_for_many(
    setup: Setup,
    table: PartTable,
    *,
    check: Check = never,
    told: Callable[[int], None] = lambda done: None,
    spread: Spread | None = None,
) -> tuple[PartCard, ...]:
    """The card of each part of a table, in order; `check`, `told`, `spread` and what is raised as in `plan_many`."""
    found = each_planned(setup, table, _strips, check, told, spread)
    return tuple(PartCard(row, None, each) if isinstance(each, str) else PartCard(row, each) for row, each in found)


def _strips(setup: Setup) -> PartStrips:
    plan = place_segments(setup)
    arcs, between = plan.arcs(), pitches(plan)
    overlaps, widths = drawn_flat(plan)
    return PartStrips(
        diameter=float(plan.diameter),
        count=plan.count,
        passes=setup.job.mark.passes,
        width=float(arcs.max()),
        narrowest=float(arcs.min()),
        pitch=float(between.max()) if between.size else None,
        overlap=float(overlaps.max()),
        drawn_width=float(widths.max()),
        begins=float(plan.start) * float(plan.diameter) * math.pi,
        focus=focus_of(setup.machine, setup.job, plan),
    )
