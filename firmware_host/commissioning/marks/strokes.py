"""Numbers drawn in single strokes, as a laser writes them: each sign is made of the seven bars of a plain display."""

from __future__ import annotations

from collections.abc import Iterator

Stroke = tuple[float, float, float, float]
"""x1, y1, x2, y2 in mm; x around the part, y along its axis, growing downwards as in SVG."""

_BARS: dict[str, Stroke] = {
    "a": (0.0, 0.0, 0.5, 0.0),
    "b": (0.5, 0.0, 0.5, 0.5),
    "c": (0.5, 0.5, 0.5, 1.0),
    "d": (0.0, 1.0, 0.5, 1.0),
    "e": (0.0, 0.5, 0.0, 1.0),
    "f": (0.0, 0.0, 0.0, 0.5),
    "g": (0.0, 0.5, 0.5, 0.5),
    "h": (0.25, 0.25, 0.25, 0.75),
}
_SIGNS = {
    "0": "abcdef", "1": "bc", "2": "abged", "3": "abgcd", "4": "fgbc", "5": "afgcd", "6": "afgedc", "7": "abc",
    "8": "abcdefg", "9": "abcdfg", "-": "g", "+": "gh", "L": "fed", "R": "eg",
}  # fmt: skip
_PITCH = 0.75
"""From one sign to the next, of their height."""


def written(text: str, x: float, y: float, height: float) -> Iterator[Stroke]:
    """The strokes of `text` (digits, + and -, L and R), `height` mm high, its middle at `x` and its top at `y` (mm)."""
    width = (len(text) - 1) * _PITCH + 0.5
    for place, sign in enumerate(text):
        left = x + (place * _PITCH - width / 2) * height
        for bar in _SIGNS[sign]:
            x1, y1, x2, y2 = _BARS[bar]
            yield (left + x1 * height, y + y1 * height, left + x2 * height, y + y2 * height)
