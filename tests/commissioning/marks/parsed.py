"""Strips as another library reads them: fontTools' reader of SVG shapes, which shares nothing with what drew them."""

from __future__ import annotations

from fontTools.pens.recordingPen import RecordingPen
from fontTools.svgLib.path import SVGPath

Segment = tuple[tuple[float, float], tuple[float, float]]


def segments(text: str) -> list[Segment]:
    """Every straight stroke of a strip, in mm, in the order in which it is drawn."""
    pen, found, at = RecordingPen(), [], (0.0, 0.0)
    SVGPath.fromstring(text.encode("utf-8")).draw(pen)
    for kind, points in pen.value:
        if kind == "lineTo":
            found.append((at, points[0]))
        if points:
            at = points[0]
    return found


def upright(text: str) -> list[Segment]:
    """Those of them that run along the axis and are longer than a number is high: the lines."""
    height = max(abs(y) for stroke in segments(text) for _, y in stroke)
    return [each for each in segments(text) if each[0][0] == each[1][0] and abs(each[1][1] - each[0][1]) > 0.3 * height]


def places(text: str) -> list[float]:
    """Where the lines stand around the part, mm."""
    return [first[0] for first, _ in upright(text)]
