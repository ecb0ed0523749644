"""Segments and seams at first sight: how many, how wide, whether in focus, how the seams will look."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import islice

import numpy as np

from firmware_host.planning.layout.causes import SeamCause
from firmware_host.planning.layout.choice import Alternative, explain_choice
from firmware_host.planning.layout.seams import Seams
from firmware_host.planning.layout.segments import SegmentPlan
from firmware_host.planning.plan import Layout
from firmware_host.reporting.document import Column, Node, Notes, Table
from firmware_host.reporting.measures import Units, counted, number
from firmware_host.reporting.plans.first.words import caution, count_assumed

_TAPE_DIGITS = 4
_GAP_DIGITS = 2
"""Seams are predicted no better than that."""
_MOST_SEAMS, _MOST_PLACES = 4, 6
"""Rows and values shown at first sight."""
_SEAM_COLUMNS = (Column("", "after segment"), Column("", "at least"), Column("", "at most"), Column("", "shows"))


def first_of_segments(plan: Layout, units: Units) -> tuple[Node, ...]:
    """The answer, where the segments lie, the worst seams and what makes them."""
    segments, seams = plan.segments, plan.seams
    largest = max(seams.causes, key=lambda cause: cause.worst, default=None) if seams.gap.size else None
    answer = (
        how_many(segments, units),
        *_focus(segments, units),
        *look_of_seams(seams, units),
        *_from_what(largest, units),
        *((f"Not known, and in no figure here: {', '.join(seams.unknown)}.",) if seams.unknown else ()),
        caution(count_assumed(plan)),
    )
    better = (
        (f"To better the seams: {_small(units.told(largest.remedy))}.",)
        if largest is not None and largest.remedy
        else ()
    )
    further = (
        *better,
        *_others(segments, units),
        _places(segments),
        _tape(segments, units),
        *map(units.told, seams.warnings),
    )
    return (Notes(answer), *((_seams(seams, units),) if seams.gap.size else ()), Notes(further))


def how_many(segments: SegmentPlan, units: Units) -> str:
    """How many segments and seams, and how wide."""
    widths, arcs = segments.widths_deg(), segments.arcs()
    narrow, wide = float(arcs.min()), float(arcs.max())
    if wide - narrow <= 1e-6 * wide:
        each = f"each {number(float(widths[0]), 4)} deg = {units.length(wide)} wide"
    else:
        each = f"{units.length(narrow)} to {units.length(wide)} ({number(float(widths.max()), 4)} deg) wide"
    joined = "seams in the gaps" if segments.request.startswith("seams") else _seams_words(segments)
    return f"{counted(segments.count, 'segment')}, {each}, {joined}."


def _seams_words(segments: SegmentPlan) -> str:
    count = segments.count if segments.full_wrap else segments.count - 1
    return counted(count, "seam") if count else "no seam"


def _focus(segments: SegmentPlan, units: Units) -> Iterator[str]:
    window = segments.window
    sag, allowed = units.pair(segments.sag(), window.sag_limit, "m")
    yield f"In focus: the edges lie {sag} below the crown, {allowed} is allowed."
    if window.focus == "balanced":
        depth = window.focal_depth(math.radians(float(segments.widths_deg().max())) / 2)
        yield f"Set the focal plane {units.length(depth)} below the crown."
    else:
        yield "Set the focal plane on the crown."


def look_of_seams(seams: Seams, units: Units) -> tuple[str, ...]:
    """How the seams will look, a line; none where there is no seam."""
    if seams.gap.size == 0:
        return ()
    low, high = float(seams.lowest.min()), float(seams.highest.max())
    shows = (
        "" if seams.tolerance is None or not seams.showing().any() else f" (shows from {_gap(seams.tolerance, units)})"
    )
    return (f"Seams: {_showing(seams)}: {_range(low, high, units)}{shows}.",)


def _from_what(largest: SeamCause | None, units: Units) -> tuple[str, ...]:
    if largest is None or largest.worst == 0:
        return ()
    return (f"Most of it: {units.told(largest.name)}, {_gap(largest.worst, units)}.",)


def _showing(seams: Seams) -> str:
    if seams.tolerance is None:
        return "give window.spot_diameter to learn whether they show"
    showing, size = int(seams.showing().sum()), seams.gap.size
    if showing:
        return f"{showing} of {size} may show"
    return f"none should show{' (in gaps of the artwork)' if (seams.blank > 0).any() else ''}"


def _range(low: float, high: float, units: Units) -> str:
    """From the least to the largest gap (m, + gap, - overlap), in words."""
    if low < 0 < high:
        return f"{_gap(-low, units)} overlap to {_gap(high, units)} gap"
    kind = "overlap" if high <= 0 else "gap"
    least, most = sorted((abs(low), abs(high)))
    return f"{_gap(least, units)} to {_gap(most, units)} {kind}"


def _small(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _gap(size: float, units: Units) -> str:
    return units.length(size, _GAP_DIGITS)


def _others(segments: SegmentPlan, units: Units) -> Iterator[str]:
    """What one segment fewer and one more would be."""
    choice = explain_choice(segments)
    fewer, more = choice.fewer, choice.more
    less = f"With {fewer.count} {_fewer(segments, fewer, units)}. " if fewer is not None else ""
    yield f"{less}With {more.count}: {number(more.width_deg, 4)} deg each."


def _fewer(segments: SegmentPlan, fewer: Alternative, units: Units) -> str:
    window = segments.window
    if fewer.width_deg <= window.widest_deg * (1 + 1e-9):
        cuts = segments.request.startswith("seams")
        return "all would be in focus, but seams would cut the artwork" if cuts else "all would still be in focus"
    if fewer.sag > window.sag_limit:
        return f"the edges would be {_gap(fewer.sag - window.sag_limit, units)} out of focus and fade"
    return f"each would be wider than the {window.binding.name} allows"


def _places(segments: SegmentPlan) -> str:
    centres = segments.centres_deg()
    pitches = np.diff(centres)
    if centres.size == 1:
        return f"Its centre is at {_degrees(centres[0])} deg."
    if np.ptp(pitches) < 1e-6:
        return f"Centres from {_degrees(centres[0])} to {_degrees(centres[-1])} deg, {_degrees(pitches[0])} deg apart."
    some = ", ".join(_degrees(each) for each in centres[:_MOST_PLACES])
    return f"Centres at {some}{' ...' if centres.size > _MOST_PLACES else ''} deg."


def _tape(segments: SegmentPlan, units: Units) -> str:
    """What shows at the part whether its size was entered right: no other datum may tell a radius or an inch."""
    around = units.length(math.pi * float(segments.diameter), _TAPE_DIGITS)
    return f"A tape around the part, where it is marked, must read {around}."


def _degrees(angle: float) -> str:
    return f"{angle:.3f}"


def _seams(seams: Seams, units: Units) -> Table:
    """Seams that look alike in a row, the worst first."""
    shows = seams.showing()
    alike: dict[tuple[str, str, bool], list[int]] = {}
    order = np.argsort(-np.maximum(np.abs(seams.lowest), np.abs(seams.highest)), kind="stable")
    for place in islice(order.tolist(), _LOOKED_AT):
        low, high = (_signed(float(each[place]), units) for each in (seams.lowest, seams.highest))
        alike.setdefault((low, high, bool(shows[place])), []).append(place + 1)
    rows = [
        (_numbers(numbers, seams), low, high, "may show" if shown else "no")
        for (low, high, shown), numbers in islice(alike.items(), _MOST_SEAMS)
    ]
    told = sum(len(numbers) for numbers in islice(alike.values(), _MOST_SEAMS))
    if told < seams.gap.size:
        rows.append((f"{seams.gap.size - told} more, better than these", "", "", ""))
    return Table("", "Seams, the worst first (+ gap, - overlap)", _SEAM_COLUMNS, tuple(rows))


_LOOKED_AT = 1000
"""Of very many seams only the worst are looked at."""


def _signed(gap: float, units: Units) -> str:
    text = _gap(gap, units)
    return text if text.startswith("-") else f"+{text}"


def _numbers(numbers: Sequence[int], seams: Seams) -> str:
    """Numbers of seams as a reader counts them: "1 to 5", "2, 4, 6", "13 (closing)"."""
    count, closing = seams.gap.size, seams.closing
    ordered = sorted(numbers)
    words = [f"{each} (closing)" if closing and each == count else str(each) for each in ordered]
    if len(words) > 2 and ordered[-1] - ordered[0] == len(ordered) - 1:
        return f"{words[0]} to {words[-1]}"
    return ", ".join(words) if len(words) <= _MOST_PLACES else f"{', '.join(words[:3])} ... {words[-1]}"
