"""The strips that a job can be tested with, how each is marked and read, and the files that hold them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from firmware_host.commissioning.marks.comb import TENTHS, Comb, combs, read_to
from firmware_host.commissioning.marks.ladder import focus_depth, rungs, usual_step
from firmware_host.commissioning.marks.svg import comb_svg, ladder_svg
from firmware_host.errors import InputError
from firmware_host.model import Setup
from firmware_host.planning.plan import Layout
from firmware_host.system.files import write_whole

_USUAL_BAND = 10e-3
"""Width along the axis (m) where the job says none: common practice, no source."""
_ZERO = "The longest line is number 0, each fifth is longer than the others."


@dataclass(frozen=True)
class Strip:
    """One file: `key` its name in JSON, `where` it is marked, `text` its SVG."""

    key: str
    name: str
    where: str
    text: str


@dataclass(frozen=True)
class Strips:
    """`spacing` of the lines (of a ladder: from rung to rung downwards) and how closely that is read, both in m.

    `flat`: the lines are drawn flat, for a marking side that corrects for nothing. `how`: to mark and to read them.
    """

    spacing: float
    read_to: float
    flat: bool
    strips: tuple[Strip, ...]
    how: tuple[str, ...]


def seam_strips(setup: Setup, layout: Layout, spacing: float) -> Strips:
    """Strips for the first seam of a job. Raises `InputError` without one, and `FormulaRangeError` as `combs`.

    Where the job does not say that the marking side corrects for the round surface, the strips do.
    """
    arcs = layout.segments.arcs()
    if arcs.size < 2:
        raise InputError("the mark has one segment and no seam", "Mark it in two or more", source=setup.job_source)
    sheet = _Sheet.of(setup, layout)
    first, second = combs(float(arcs[0]), float(arcs[1]), spacing)
    reading = (
        "Look where a line of the one meets a line of the other: count from the longest, + towards segment 2.",
        f"That number times {spacing * 1e3 / TENTHS:.3f} mm is the gap, - an overlap.",
    )
    note = " ".join((_ZERO, *reading))
    made = (
        Strip("first", "end-of-segment.svg", "segment 1", sheet.comb((first,), note)),
        Strip("second", "start-of-next.svg", "segment 2", sheet.comb((second,), note)),
    )
    return Strips(spacing, read_to(spacing), sheet.flat, made, (*_marking(made), sheet.drawn, _ZERO, *reading))


def closing_strips(setup: Setup, layout: Layout, spacing: float) -> Strips:
    """Strips for the first seam of a full wrap and for the one that closes it. Raises `InputError` without that one.

    What is wrong in the same way at each seam (the diameter, the width) makes both gaps alike; what adds up over the
    turn (the ratio, slip) is small at the first seam and, the other way, as often as there are such seams at the last.
    """
    arcs, count = layout.segments.arcs(), int(layout.segments.arcs().size)
    if not layout.seams.closing or count < 2:
        remedy = "Take the strips of a seam instead"
        raise InputError("the mark does not go all the way round", remedy, source=setup.job_source, key="mark.arc")
    sheet = _Sheet.of(setup, layout)
    inner = combs(float(arcs[0]), float(arcs[1]), spacing)
    closing = combs(float(arcs[-1]), float(arcs[0]), spacing)
    reading = (
        "At the first seam, and at the seam where the last segment meets the first, look which line meets which.",
        f"At the first seam that is one number: times {spacing * 1e3 / TENTHS:.3f} mm it is the gap, - an overlap.",
        "At the closing seam write both, the last segment's first: 5/4 says that its +5 meets +4 of segment 1.",
        "Both gaps alike: diameter or width. The closing one the other way, and much larger: what adds up over a turn.",
        "Only the closing one: lost motion, or something slipped once.",
    )
    note = " ".join((_ZERO, *reading))
    at: dict[int, list[Comb]] = {1: [closing[1], inner[0]]}
    at.setdefault(2, []).append(inner[1])
    at.setdefault(count, []).append(closing[0])
    made = tuple(
        Strip(f"segment_{each}", f"closing-segment-{each}.svg", f"segment {each}", sheet.comb(drawn, note, True))
        for each, drawn in sorted(at.items())
    )
    return Strips(spacing, read_to(spacing), sheet.flat, made, (*_marking(made), sheet.drawn, _ZERO, *reading))


def ladder_strips(setup: Setup, layout: Layout, step: float = 0.0) -> Strips:
    """The strip of a window ladder: rungs `step` (m) apart in depth, 0: a fifth of the half-depth that is stated.

    Raises `FormulaRangeError` as `rungs`.
    """
    sheet = _Sheet.of(setup, layout)
    step = step or usual_step(setup.job.window, sheet.radius)
    made = rungs(sheet.radius, step)
    reading = (
        f"Set the focus {focus_depth(step) * 1e3:.3g} mm below the crown, and mark the strip once, in one pass.",
        f"Rung 0 is the crown, each further one lies {step * 1e3:.3g} mm deeper; R is to the right, L to the left.",
        "Read, to the right and to the left: the first rung that is marked well, and the last one.",
        "Half of what lies between is the half-depth; the focus lies in its middle.",
    )
    text = ladder_svg(made, radius=sheet.radius, band=sheet.band, flat=sheet.flat, note=" ".join(reading))
    strip = Strip("ladder", "window-ladder.svg", "one place of the part", text)
    return Strips(step, step / 2, sheet.flat, (strip,), (sheet.drawn, *reading))


def write_strips(strips: Strips, folder: Path) -> tuple[Path, ...]:
    """Write all into `folder`, which is made; an older one of the same name is replaced. Raises `InputError`."""
    paths = tuple(folder / strip.name for strip in strips.strips)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path, strip in zip(paths, strips.strips, strict=True):
            write_whole(path, strip.text)
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", "Name another folder", source=str(folder)) from error
    return paths


def _marking(strips: Sequence[Strip]) -> tuple[str, ...]:
    which = ", ".join(f"{strip.name} as {strip.where}" for strip in strips)
    return (f"Mark {which}, each about the segment's middle, one pass.",)


@dataclass(frozen=True)
class _Sheet:
    """What the strips of a job are drawn on: `radius` and `band` (width along the axis) in m."""

    radius: float
    band: float
    flat: bool

    @classmethod
    def of(cls, setup: Setup, layout: Layout) -> _Sheet:
        width = setup.job.mark.width
        flat = setup.job.window.flat_field_corrected is not True
        return cls(float(layout.segments.diameter) / 2, width.si if width is not None else _USUAL_BAND, flat)

    @property
    def drawn(self) -> str:
        by = "drawn so that they come out right on the round surface" if self.flat else "as they lie on the surface"
        return f"The lines are {by}."

    def comb(self, drawn: Sequence[Comb], note: str, numbers: bool = False) -> str:
        return comb_svg(drawn, radius=self.radius, band=self.band, flat=self.flat, numbers=numbers, note=note)
