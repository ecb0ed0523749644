"""What may be wrong when a part is marked: each with what a person sees of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from firmware_host.errors import InputError
from firmware_host.model import Setup
from firmware_host.model.files.problems import nearest_of
from firmware_host.model.job.mark import Mark
from firmware_host.planning.layout.segments import SegmentPlan


@dataclass(frozen=True)
class Wrong:
    """One thing that is not as the plan has it; `key` names it, `words` say it, `look` what it looks like.

    `part`: true diameter over the one entered. `count`: segments over those planned. `skew` (rad): of the marking field
    to the axis. `run_out`: how far the part's middle stands off the axis, over the half-depth of the marking window; a
    part on rollers turns about its own middle, and has none.
    """

    key: str
    words: str
    look: str
    part: float = 1.0
    count: float = 1.0
    skew: float = 0.0
    run_out: float = 0.0


AS_PLANNED = Wrong("as-planned", "as planned", "The segments meet, and are dark up to their edges.")
WRONG_NUMBERS: tuple[Wrong, ...] = (
    Wrong(
        "diameter-too-big",
        "diameter entered 10 % too big",
        "In a chuck the marks overlap at every seam; on rollers at the closing seam alone.",
        part=1 / 1.1,
    ),
    Wrong(
        "diameter-too-small",
        "diameter entered 10 % too small",
        "In a chuck every seam is left bare; on rollers the closing seam alone.",
        part=1 / 0.9,
    ),
    Wrong(
        "segments-too-wide",
        "segments too wide for the marking window",
        "Every segment fades towards both of its edges.",
        count=0.6,
    ),
    Wrong(
        "segments-too-narrow",
        "segments much narrower than they need to be",
        "Nothing fades, but there are many seams, and each may show what the machine is off.",
        count=3.0,
    ),
    Wrong(
        "skewed",
        "marking field askew to the axis by 2 degrees",
        "Lines step sideways at every seam.",
        skew=math.radians(2.0),
    ),
    Wrong(
        "run-out",
        "the part runs out: it turns about another middle",
        "Gaps on one side of the part, overlaps on the other, and one side fades.",
        run_out=1.5,
    ),
)


def wrong_named(key: str) -> Wrong:
    """The one of that name. Raises `InputError`, naming the nearest."""
    known = {each.key: each for each in (AS_PLANNED, *WRONG_NUMBERS)}
    if key not in known:
        raise InputError(f"nothing that may be wrong is called {key!r}", nearest_of(key, list(known)), key="wrong")
    return known[key]


def wrong_numbers(setup: Setup) -> tuple[Wrong, ...]:
    """Those that a part on this machine can have."""
    rolls = setup.machine.drive.cradle is not None
    return tuple(each for each in WRONG_NUMBERS if not (rolls and each.run_out))


def segments_of(setup: Setup, planned: SegmentPlan, wrong: Wrong) -> SegmentPlan:
    """The segments that are marked: those planned, or so many times as many, whether the window holds them or not."""
    if wrong.count == 1:
        return planned
    count = max(1, round(planned.count * wrong.count))
    width = planned.total / count
    mark: Mark = setup.job.mark
    block = replace(planned.blocks[0], first=mark.first_centre(width), pitch=width, width=width, count=count)
    return replace(planned, blocks=(block,))
