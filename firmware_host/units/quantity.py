"""A value with its unit, read exactly from what the user wrote.

Values hold a `Fraction`, so teeth, ratios and diameters lose nothing on the way in. What is usual stands in a table
(`table.py`) that pint has worked out from the definitions; any other product of units is worked out by pint itself.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, cached_property, lru_cache
from typing import Literal

from pydantic_core import PydanticCustomError

from firmware_host.units.kinds import KINDS, Kind
from firmware_host.units.table import SIZES

_NUMBER = re.compile(r"[+-]?(?:[0-9]{1,30}(?:\.[0-9]{0,30})?|\.[0-9]{1,30})(?:[eE][+-]?[0-9]{1,2})?(?:/[0-9]{1,12})?")
#: Numbers that begin like one of those, and that no quantity reaches.
_BEYOND = r"[+-]?(?:[0-9]{31}|(?:[0-9]+\.?[0-9]*|\.[0-9]+)[eE][+-]?[0-9]{3})"
_FACTOR = r"\(* ?(?:1|[A-Za-zµμΩ°_]+(?: ?(?:\^|\*\*) ?-?[1-4])?) ?\)*"
#: Products and quotients of named units; a power is one digit, and nothing is raised twice.
_UNIT = rf"{_FACTOR}(?: ?[*/ ] ?{_FACTOR})*"
_LONGEST, _LONGEST_UNIT = 80, 40
_SMALLEST, _LARGEST = Fraction(1, 10**12), Fraction(10**12)
#: Scales of temperature whose zero is another: the size of their degree, and where their zero lies, both in degC.
_OTHER_ZERO = dict.fromkeys(("degF", "°F", "degreeF"), (Fraction(5, 9), Fraction(-160, 9)))

Sign = Literal["positive", "non-negative", "any"]


@dataclass(frozen=True)
class Quantity:
    """A physical value as the user wrote it.

    `exact` is the value in the kind's own unit (SI, but turns for every angle); `si` is the SI float (rad for angles).
    """

    text: str
    exact: Fraction
    kind: str

    @cached_property
    def si(self) -> float:
        """The value in SI units as a float (angles in rad)."""
        return float(self.exact) * KINDS[self.kind].si_factor

    def to(self, unit: str) -> float:
        """The value in `unit`, e.g. "mm" or "deg"; the unit must be of the same kind."""
        size, zero = _scale(unit, KINDS[self.kind])
        return float((self.exact - zero) / size)

    def __str__(self) -> str:
        return self.text


def refuse(problem: str, kind: Kind, remedy: str = "") -> PydanticCustomError:
    """The error of a text that is no quantity of the kind: what is wrong, and how it is written."""
    text = remedy or f'Write a string with a unit, like "{kind.example}"'
    return PydanticCustomError("quantity", "{problem}", {"problem": problem, "remedy": text})


def _beyond(text: str, kind: Kind) -> PydanticCustomError:
    return refuse(f"{text!r} is out of any workshop's range", kind, f'Write {kind.one} like "{kind.example}"')


@cache
def _unit_size(text: str, kind: Kind) -> Fraction:
    """How many of the kind's own units one `text` is, exactly. Raises `PydanticCustomError` if it is another kind."""
    usual = SIZES[kind.name].get(text)
    if usual is not None:
        return Fraction(*usual)
    if len(text) > _LONGEST_UNIT:
        raise refuse(f"{text[:_LONGEST_UNIT]!r}... is not a unit", kind)
    from firmware_host.units import meant, registry  # these take long, and are seldom needed

    if not re.fullmatch(_UNIT, " ".join(text.split())):
        raise refuse(f"{text!r} is not a unit", kind, meant.advice(text, kind))
    try:
        return registry.size_of(text, kind)
    except registry.NotAUnitError as error:
        raise refuse(error.problem, kind, meant.advice(text, kind, error.names)) from error


def _scale(text: str, kind: Kind) -> tuple[Fraction, Fraction]:
    """The size of the unit, and where its zero lies, in the kind's own unit; raises as `_unit_size`."""
    if kind.name == "temperature" and text in _OTHER_ZERO:
        return _OTHER_ZERO[text]
    return _unit_size(text, kind), Fraction(0)


@lru_cache(maxsize=4096)
def parse_quantity(text: str, kind_name: str, sign: Sign = "any") -> Quantity:
    """Read `text` ("48.2 mm", "1/2 in") as a quantity of the kind named, exactly.

    Raises `PydanticCustomError` (a ValueError) when the text is too long, has no number or no unit, or has a unit of
    another kind, or when the value is not in the range `sign` allows.
    """
    kind = KINDS[kind_name]
    stripped = text.strip()
    if len(stripped) > _LONGEST:
        raise refuse(f"a value of {len(stripped)} characters is too long", kind)
    number, unit = _number_and_unit(stripped, kind)
    size, zero = _scale(unit, kind)
    exact = number * size + zero
    if exact and not _SMALLEST < abs(exact) < _LARGEST:
        raise _beyond(stripped, kind)
    if sign == "positive" and exact <= 0:
        raise refuse(f"{stripped!r} must be greater than zero", kind)
    if sign == "non-negative" and exact < 0:
        raise refuse(f"{stripped!r} must not be negative", kind)
    return Quantity(text=stripped, exact=exact, kind=kind_name)


def parse_number(text: str) -> float:
    """A bare number, decimal or a fraction. Raises `PydanticCustomError` for anything else, a unit behind it, too."""
    kind = Kind("number", "", "12")
    stripped = text.strip()
    from firmware_host.units import numbers

    if wrong := numbers.what_is_wrong(stripped):
        raise refuse(f"{stripped[:_LONGEST]!r} {wrong.problem}", kind, wrong.remedy or 'Write a number, like "12"')
    number = _NUMBER.fullmatch(stripped)
    if number is None:
        raise refuse(f"{stripped[:_LONGEST]!r} is not a number", kind, 'Write a number without a unit, like "12"')
    return float(_exact(number.group(), stripped, kind))


def _number_and_unit(text: str, kind: Kind) -> tuple[Fraction, str]:
    """The number that `text` begins with, exactly, and the text of the unit behind it."""
    number = _NUMBER.match(text)
    unit = text[number.end() :].strip() if number is not None else ""
    usual = unit in SIZES[kind.name]  # so nothing of a number is left before it
    beyond = not usual and re.match(_BEYOND, text) is not None
    if not usual and not beyond:
        from firmware_host.units import numbers  # only where something may be wrong

        if wrong := numbers.what_is_wrong(text):
            raise refuse(f"{text!r} {wrong.problem}", kind, wrong.remedy)
    if number is None:
        raise refuse(f"{text!r} does not begin with a finite number", kind)
    if beyond:
        raise _beyond(text, kind)
    if not unit:
        raise refuse(f"{text!r} has no unit", kind)
    return _exact(number.group(), text, kind), unit


def _exact(number: str, text: str, kind: Kind) -> Fraction:
    """The number that `text` begins with, "1/2" too."""
    decimal, _, divisor = number.partition("/")
    try:
        return Fraction(decimal) / Fraction(divisor or 1)
    except ZeroDivisionError as error:
        raise refuse(f"{text!r} divides by zero", kind) from error
