"""A small drawing of our own as SVG that stands in the page itself, so that it follows the page's light or dark.

What is drawn has a class (`ink`, `steel`, `copper`, `olive`, `pale`, `soft`), and `docs/pages/style.css` gives it its
colour in either scheme. Lengths are in units of the drawing; y grows downwards.
"""

from __future__ import annotations

from html import escape

Point = tuple[float, float]


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


class Drawing:
    """What was drawn so far; `wide` and `high` are its own units, `words` say the same to who can't see it."""

    def __init__(self, wide: float, high: float, words: str) -> None:
        self._wide, self._high, self._words = wide, high, words
        self._parts: list[str] = []

    def line(self, *points: Point, look: str = "ink", dashed: bool = False, arrow: bool = False) -> None:
        """A line through all points; with `arrow`, a head at the last one."""
        path = " ".join(f"{_n(x)},{_n(y)}" for x, y in points)
        classes = " ".join(["line", look, *(["dashed"] if dashed else [])])
        self._parts.append(f'<polyline class="{classes}" points="{path}"/>')
        if arrow:
            self._head(points[-2], points[-1], look)

    def _head(self, before: Point, tip: Point, look: str) -> None:
        dx, dy = tip[0] - before[0], tip[1] - before[1]
        far = max((dx * dx + dy * dy) ** 0.5, 1e-9)
        ux, uy = dx / far, dy / far
        left = (tip[0] - 9 * ux - 4.5 * uy, tip[1] - 9 * uy + 4.5 * ux)
        right = (tip[0] - 9 * ux + 4.5 * uy, tip[1] - 9 * uy - 4.5 * ux)
        self.area(tip, left, right, look=look)

    def area(self, *points: Point, look: str, hatched: bool = False) -> None:
        """A filled area. `hatched`: told apart by lines, too."""
        path = " ".join(f"{_n(x)},{_n(y)}" for x, y in points)
        self._parts.append(f'<polygon class="area {look}" points="{path}"/>')
        if hatched:
            self._parts.append(f'<polygon class="hatch" points="{path}"/>')

    def box(self, left: float, top: float, wide: float, high: float, *, look: str, text: str = "") -> None:
        """A rectangle with rounded corners; `text`, of lines, stands in its middle."""
        place = f'x="{_n(left)}" y="{_n(top)}" width="{_n(wide)}" height="{_n(high)}"'
        self._parts.append(f'<rect class="box {look}" {place} rx="5"/>')
        lines = text.split("\n") if text else []
        first = top + high / 2 + 5 - 8.5 * (len(lines) - 1)
        for number, line in enumerate(lines):
            self.text(left + wide / 2, first + 17 * number, line, anchor="middle")

    def circle(self, x: float, y: float, radius: float, *, look: str) -> None:
        """A filled circle with an outline."""
        self._parts.append(f'<circle class="box {look}" cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}"/>')

    def text(
        self, x: float, y: float, words: str, *, look: str = "ink", anchor: str = "start", bold: bool = False
    ) -> None:
        """One line of text; `anchor` is start, middle or end."""
        weight = " bold" if bold else ""
        self._parts.append(
            f'<text class="text {look}{weight}" x="{_n(x)}" y="{_n(y)}" text-anchor="{anchor}">{escape(words)}</text>'
        )

    def svg(self) -> str:
        """The drawing as one line of SVG, so that Markdown leaves it alone."""
        hatch = (
            '<defs><pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" '
            'patternTransform="rotate(45)">'
            '<line class="line ink thin" x1="0" y1="0" x2="0" y2="7"/></pattern></defs>'
        )
        label = escape(self._words, quote=True)
        head = f'<svg class="drawing" viewBox="0 0 {_n(self._wide)} {_n(self._high)}" role="img" aria-label="{label}">'
        return f"{head}{hatch}{''.join(self._parts)}</svg>"
