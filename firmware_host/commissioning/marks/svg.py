"""A comb as an SVG strip in millimetres, its middle the middle of the segment: what the marking side draws flat."""

from __future__ import annotations

from xml.etree import ElementTree

from firmware_host.commissioning.marks.comb import Comb, as_drawn

_LONG, _MIDDLE, _SHORT = 1.0, 0.75, 0.5
"""Lengths of the lines of number 0, of each fifth, and of the others, as parts of half the band."""
_GAP_MM = 0.1
"""Left free between the two combs, so that they do not touch."""
_STROKE_MM = 0.03


def comb_svg(comb: Comb, *, radius: float, band: float, flat: bool) -> str:
    """The strip of a comb on a part of `radius` (m), `band` (m) wide along the axis; x runs around, y along the axis.

    `flat`: the marking side does not correct for the round surface, so the lines are drawn where they come out right.
    """
    height = band * 1e3
    drawn = [(as_drawn(place, radius) if flat else place) * 1e3 for place in comb.places]
    reach = max(map(abs, drawn)) + 1.0
    box = f"{-reach:.4f} {-height / 2:.4f} {2 * reach:.4f} {height:.4f}"
    root = ElementTree.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": box,
            "width": f"{2 * reach:.4f}mm",
            "height": f"{height:.4f}mm",
        },
    )
    group = ElementTree.SubElement(root, "g", {"stroke": "black", "stroke-width": str(_STROKE_MM), "fill": "none"})
    side = 1 if comb.lower else -1
    for place, number in zip(drawn, comb.numbers, strict=True):
        length = _LONG if number == 0 else _MIDDLE if number % 5 == 0 else _SHORT
        begin, end = side * _GAP_MM / 2, side * (_GAP_MM / 2 + length * (height / 2 - _GAP_MM))
        ElementTree.SubElement(
            group, "line", {"x1": f"{place:.4f}", "x2": f"{place:.4f}", "y1": f"{begin:.4f}", "y2": f"{end:.4f}"}
        )
    return ElementTree.tostring(root, encoding="unicode") + "\n"
