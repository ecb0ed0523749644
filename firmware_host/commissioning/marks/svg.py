"""Strips as SVG in millimetres, their middle the middle of the segment: what the marking side draws flat."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from xml.etree import ElementTree

from firmware_host.commissioning.marks.comb import Comb, as_drawn
from firmware_host.commissioning.marks.ladder import Rung
from firmware_host.commissioning.marks.strokes import Stroke, written

_LONG, _MIDDLE, _SHORT = 1.0, 0.75, 0.5
"""Lengths of the lines of number 0, of each fifth, and of the others, as parts of what a line may take."""
_GAP_MM = 0.1
"""Left free between the two combs, so that they do not touch."""
_STROKE_MM = 0.03
_OF_PITCH = 0.5
"""Height of a number at the most, as a part of the way to the next number: +10 is two heights wide."""
_NUMBER, _ROOM = 0.16, 0.24
"""Height of a number, and the room it takes with what is free about it, as parts of half the band."""


def comb_svg(
    combs: Sequence[Comb], *, radius: float, band: float, flat: bool, numbers: bool = False, note: str = ""
) -> str:
    """The strip of `combs` on a part of `radius` (m), `band` (m) wide along the axis; x runs around, y along the axis.

    `flat`: the marking side does not correct for the round surface, so the lines are drawn where they come out right.
    `numbers`: each fifth line has its number behind it; `note`: how it is read, which is not marked.
    """
    half = band * 1e3 / 2
    lines: list[Stroke] = []
    signs: list[Stroke] = []
    for comb in combs:
        side = 1 if comb.lower else -1
        room = half - _GAP_MM - (_ROOM * half if numbers else 0.0)
        for place, number in zip(comb.places, comb.numbers, strict=True):
            x = _drawn_mm(place, radius, flat=flat)
            length = _LONG if number == 0 else _MIDDLE if number % 5 == 0 else _SHORT
            lines.append((x, side * _GAP_MM / 2, x, side * (_GAP_MM / 2 + length * room)))
            if numbers and number % 5 == 0:
                fifths = [_drawn_mm(each, radius, flat=flat) for each in comb.places[::5]]
                high = _height(half, fifths)
                top = side * (half - _ROOM * half / 2) - high / 2
                signs += written(f"{number:+d}" if number else "0", x, top, high)
    return _strip(lines, signs, 2 * half, note)


def ladder_svg(rungs: Sequence[Rung], *, radius: float, band: float, flat: bool, note: str = "") -> str:
    """The strip of a ladder: each rung a line to the right and one to the left, each fifth with its number; as above.

    Number 0 is the crown, in the middle; L and R stand behind the last rung of either side.
    """
    half = band * 1e3 / 2
    top, room = -half + _ROOM * half, 2 * half - _ROOM * half
    lines: list[Stroke] = []
    signs: list[Stroke] = []
    fifths = [_drawn_mm(radius * rung.angle, radius, flat=flat) for rung in rungs if rung.number % 5 == 0]
    last, high = _drawn_mm(radius * rungs[-1].angle, radius, flat=flat), _height(half, fifths)
    for rung in rungs:
        x = _drawn_mm(radius * rung.angle, radius, flat=flat)
        length = _LONG if rung.number % 5 == 0 else _MIDDLE
        for side in (1, -1) if rung.number else (1,):
            lines.append((side * x, top, side * x, top + length * (room - _GAP_MM)))
            if rung.number % 5 == 0:
                signs += written(str(rung.number), side * x, -half + _GAP_MM, high)
    for sign, side in (("R", 1), ("L", -1)):
        signs += written(sign, side * (last + high), half - 2 * high, high)
    return _strip(lines, signs, 2 * half, note)


def _height(half: float, places: Sequence[float]) -> float:
    """How high the numbers at `places` are (all mm), so that two of them do not touch."""
    return min(_NUMBER * half, _OF_PITCH * min(b - a for a, b in pairwise(places)))


def _drawn_mm(place: float, radius: float, *, flat: bool) -> float:
    return (as_drawn(place, radius) if flat else place) * 1e3


def _strip(lines: Iterable[Stroke], signs: Iterable[Stroke], height: float, note: str) -> str:
    lines, signs = list(lines), list(signs)
    reach = max(max(abs(x1), abs(x2)) for x1, _, x2, _ in (*lines, *signs)) + 1.0
    root = ElementTree.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"{-reach:.4f} {-height / 2:.4f} {2 * reach:.4f} {height:.4f}",
            "width": f"{2 * reach:.4f}mm",
            "height": f"{height:.4f}mm",
        },
    )
    if note:
        ElementTree.SubElement(root, "desc").text = note
    group = ElementTree.SubElement(root, "g", {"stroke": "black", "stroke-width": str(_STROKE_MM), "fill": "none"})
    for x1, y1, x2, y2 in lines:
        ends = {"x1": f"{x1:.4f}", "x2": f"{x2:.4f}", "y1": f"{y1:.4f}", "y2": f"{y2:.4f}"}
        ElementTree.SubElement(group, "line", ends)
    if signs:
        ElementTree.SubElement(group, "path", {"d": " ".join(_paths(signs))})
    return ElementTree.tostring(root, encoding="unicode") + "\n"


def _paths(strokes: Iterable[Stroke]) -> Iterator[str]:
    for x1, y1, x2, y2 in strokes:
        yield f"M{x1:.4f} {y1:.4f}L{x2:.4f} {y2:.4f}"
