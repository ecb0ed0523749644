"""Values as a person reads them: in the reader's own units, with sensible digits, a unit at each number."""

from __future__ import annotations

import math
import re
from enum import StrEnum
from fractions import Fraction

_DIGITS = 3


class Units(StrEnum):
    """The units that a person wants to read; for people only, JSON has its own."""

    METRIC = "metric"
    INCH = "inch"

    def converted(self, value: float, unit: str) -> tuple[float, str]:
        """A value in a metric `unit` of the table below, in the reader's unit; any other unit stays as it is."""
        kind, other = _IN_INCHES.get(unit, ("", ""))
        if self is Units.METRIC or not kind:
            return value, unit
        return value * _ratio(kind, unit, other), other

    def form(self, form: str, unit: str) -> str:
        """The form of a number in the reader's unit: an inch wants one decimal more than a millimetre."""
        if self is Units.METRIC or unit not in ("mm", "m") or not form.endswith("f"):
            return form
        before, dot, decimals = form[:-1].partition(".")
        return f"{before}{dot}{int(decimals) + 1}f" if dot else form

    def label(self, unit: str) -> str:
        """The name of the reader's unit instead of a metric one."""
        return self.converted(1.0, unit)[1]

    def length(self, metres: float, digits: int = _DIGITS) -> str:
        """A length (m, any sign) in millimetres or inches."""
        value, unit = self.converted(1e3 * metres, "mm")
        return f"{number(value, digits)} {unit}"

    def pair(self, value: float, limit: float, unit: str) -> tuple[str, str]:
        """A value and the limit it stands beside, both SI in `unit`: one unit, and the limit's decimals for both."""
        size, shown = self._scale(limit, unit)
        texts = [_fixed(each / size, limit / size) for each in (value, limit)]
        while all("." in text and text[-1] in "0." for text in texts):
            texts = [text[:-1] for text in texts]
        if value and not float(texts[0].replace("no end", "1")):
            texts[0] = number(value / size, 1)
        first, second = (f"{text} {shown}".rstrip() for text in texts)
        return first, second

    def alone(self, value: float, unit: str) -> str:
        """A value, SI in `unit`, alone."""
        size, shown = self._scale(value, unit)
        return f"{number(value / size)} {shown}".rstrip()

    def told(self, sentence: str) -> str:
        """A sentence of the planning, its millimetres written as the reader's."""
        if self is Units.METRIC:
            return sentence
        return _MILLIMETRES.sub(lambda found: self.length(float(found[1]) / 1e3), sentence)

    def _scale(self, like: float, unit: str) -> tuple[float, str]:
        """The size of the unit that suits a value such as `like`, in `unit`, and its name."""
        if unit == "m":
            return 1e-3 / self.converted(1.0, "mm")[0], self.label("mm")
        if unit == "N*m" and self is Units.INCH and abs(like) < 1:
            return _ratio("torque", "ozf*in", "N*m"), "ozf*in"
        for size, shown in _LARGER.get(unit, ()):
            if abs(like) >= size:
                return size, shown
        factor, shown = self.converted(1.0, unit)
        return 1 / factor, shown


_IN_INCHES = {
    "mm": ("length", "in"),
    "m": ("length", "in"),
    "N*m": ("torque", "lbf*in"),
    "N": ("force", "lbf"),
    "kg": ("mass", "lb"),
}
"""What is written instead of each metric unit, and of which kind it is."""

_MILLIMETRES = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) mm\b(?!\^)")

_LARGER = {
    "Hz": ((1e3, "kHz"), (1.0, "Hz")),
    "s": ((1.0, "s"), (1e-3, "ms"), (1e-6, "us")),
}
"""Sizes of a unit and their names, the largest first."""


def number(value: float, digits: int = _DIGITS) -> str:
    """A number with so many digits that count, and never with an exponent."""
    if not math.isfinite(value):
        return "no end"
    return _fixed(value, value, digits)


def between(lowest: float, highest: float) -> str:
    """Two ends: "72 to 81", or the one number that both are."""
    low, high = number(lowest, 3), number(highest, 3)
    return low if low == high else f"{low} to {high}"


def listed(names: tuple[str, ...] | list[str], join: str = "and") -> str:
    """Names in a sentence: "a", "a and b", "a, b and c"."""
    *most, last = names
    return f"{', '.join(most)} {join} {last}" if most else last


def counted(count: int, one: str, many: str = "") -> str:
    """A number of things: "1 seam", "3 seams"."""
    return f"{count} {one if count == 1 else many or f'{one}s'}"


def percent(part: float) -> str:
    """A part of one in whole percents; "none" for one without end."""
    return f"{100 * part:.0f} %" if math.isfinite(part) else "none"


def seconds(duration_s: float) -> str:
    """A duration (s, >= 0): "16 ms", "0.609 s", "42 s", "3 min 05 s"."""
    if duration_s == 0:
        return "0 s"
    if duration_s < 0.1:
        return f"{number(1e3 * duration_s, 2)} ms"
    if duration_s < 60:
        return f"{number(duration_s, 2 if duration_s >= 10 else _DIGITS)} s"
    whole = round(duration_s)
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def _fixed(value: float, like: float, digits: int = _DIGITS) -> str:
    """`value` with the decimals that give `like` so many digits that count."""
    if not math.isfinite(value):
        return "no end"
    size = float(f"{abs(like):.{digits - 1}e}") if math.isfinite(like) else 0.0
    decimals = digits - 1 - math.floor(math.log10(size)) if size > 0 else 0
    return f"{value:.{min(max(decimals, 0), 6)}f}"


def _ratio(kind: str, unit: str, other: str) -> float:
    """How many of `other` one `unit` is."""
    from firmware_host.units.table import SIZES  # the room of units loads a library, and few readers want inches

    sizes = SIZES[kind]
    return float(Fraction(*sizes[unit]) / Fraction(*sizes[other]))
