"""How far a hand turns the part: microsteps, an angle, or a length around its surface."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import pi

from firmware_host.errors import InputError
from firmware_host.units import Quantity, parse_quantity

_WHOLE = re.compile(r"([+-]?[0-9]{1,9}) *(microsteps?|steps?)?")
_BARE = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)")
_MOST_TURNS = 100


@dataclass(frozen=True)
class Step:
    """One step: exactly so many `turns` of the part, or so many `microsteps` (then turns is None); `text` says it."""

    text: str
    turns: Fraction | None = None
    microsteps: int = 0


MICROSTEP = Step("1 microstep", microsteps=1)
ANGLES = (MICROSTEP, *(Step(f"{deg} deg", Fraction(deg) / 360) for deg in ("0.1", "1", "5", "15", "45", "90")))
"""The steps of the arrow keys, the smallest first."""
USUAL = 4
"""Which of them comes first: 15 deg, or of the lengths 5 mm."""
_LENGTHS_MM = ("0.05", "0.1", "0.5", "1", "5", "10", "50")


def lengths(diameter: float) -> Sequence[Step]:
    """The same along the surface of a part of this diameter (m, > 0)."""
    around_mm = Fraction(pi * diameter * 1e3)
    return (MICROSTEP, *(Step(f"{mm} mm", Fraction(mm) / around_mm) for mm in _LENGTHS_MM))


def how_far(text: str, diameter: float | None, *, key: str = "by") -> Step:
    """What `text` says: "15 deg", "5 mm" (of the surface, if the diameter is known, m), "3 microsteps".

    Raises `InputError` for anything else; `key`: where it was said.
    """
    whole = _WHOLE.fullmatch(text.strip())
    if whole is not None and whole[2]:
        return Step(text.strip(), microsteps=int(whole[1]))
    turns = _angle(text)
    if turns is not None:
        return Step(text.strip(), _bounded(turns, text, key))
    length = _quantity(text, "length")
    if length is None:
        raise InputError(f"{text!r} says no angle", 'Give it with its unit: "15 deg", "3 microsteps"', key=key)
    if diameter is None:
        raise InputError(f"{text!r} is a length, and the diameter is not known", "Give an angle, or a job", key=key)
    return Step(text.strip(), _bounded(Fraction(length.exact) / Fraction(pi * diameter), text, key))


def angle(text: str, *, key: str = "to", bare: bool = False) -> Fraction:
    """The angle that `text` says, in turns; `bare`: a number without a unit is degrees. Raises `InputError`."""
    text = f"{text.strip()} deg" if bare and _BARE.fullmatch(text.strip()) else text
    turns = _angle(text)
    if turns is None:
        raise InputError(f"{text!r} says no angle", 'Give it with its unit: "90 deg"', key=key)
    return _bounded(turns, text, key)


def length(text: str, *, key: str) -> Quantity:
    """The length that `text` says. Raises `InputError`."""
    found = _quantity(text, "length")
    if found is None or found.exact <= 0:
        raise InputError(f"{text!r} says no length", 'Give it with its unit: "60 mm"', key=key)
    return found


def _angle(text: str) -> Fraction | None:
    found = _quantity(text, "angle")
    return None if found is None else Fraction(found.exact)


def _quantity(text: str, kind: str) -> Quantity | None:
    try:
        return parse_quantity(text, kind)
    except ValueError:
        return None


def _bounded(turns: Fraction, text: str, key: str) -> Fraction:
    if abs(turns) > _MOST_TURNS:
        raise InputError(f"{text.strip()} is more than {_MOST_TURNS} turns", "Give less", key=key)
    return turns
