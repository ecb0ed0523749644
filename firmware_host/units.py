"""The unit registry and the field types of the user's files ("a torque", "an angle"): the only module that knows pint.

Values are exact: a quantity holds a `Fraction`, so teeth, ratios and diameters lose nothing on the way in. The plane
angle is a dimension of its own here, counted in turns, so that an angle is no bare number, 60 rpm no frequency, and
a torque (N*m) no energy (J).

Unit values: International System of Units (BIPM, 9th brochure); inch = 25.4 mm and pound = 0.45359237 kg exactly
(international yard and pound agreement, 1959); standard gravity 9.80665 m/s^2 (CODATA).
"""

from __future__ import annotations

import math
import re
import tokenize
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Annotated, Any, Literal

import pint
from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import PydanticCustomError, core_schema

#: pi to 100 decimals, as a fraction: exact enough that no angle in radians and no arc rounds to a wrong step.
PI = Fraction("3.1415926535897932384626433832795028841971693993751058209749445923078164062862089986280348253421170679")

_DEFINITIONS = f"""
nano- = 1e-9 = n-
micro- = 1e-6 = u- = µ- = μ-
milli- = 1e-3 = m-
centi- = 1e-2 = c-
kilo- = 1e3 = k-
mega- = 1e6 = M-
meter = [length] = m = metre
gram = [mass] = g
second = [time] = s = sec
ampere = [current] = A
kelvin = [temperature] = K
degree_celsius = [celsius_temperature] = degC = degreeC
turn = [plane_angle] = turn = revolution = rev
degree = turn / 360 = deg = °
arcminute = degree / 60 = arcmin
arcsecond = arcminute / 60 = arcsec
radian = turn / {2 * PI.numerator} * {PI.denominator} = rad
minute = 60 * second = min
hour = 60 * minute = h
hertz = 1 / second = Hz
rpm = turn / minute
newton = 1000 * gram * meter / second ** 2 = N
joule = newton * meter = J
watt = joule / second = W
watt_hour = watt * hour = Wh
pascal = newton / meter ** 2 = Pa
volt = watt / ampere = V
ohm = volt / ampere = Ω = Ohm
farad = ampere * second / volt = F
henry = volt * second / ampere = H
inch = 25.4e-3 * meter = in
foot = 12 * inch = ft
pound = 453.59237 * gram = lb
ounce = pound / 16 = oz
pound_force = 9.80665 * pound * meter / second ** 2 = lbf
ounce_force = pound_force / 16 = ozf
kilogram_force = 9806.65 * gram * meter / second ** 2 = kgf
"""

_ENERGY_UNITS = frozenset({"joule", "watt_hour", "watt", "volt"})
_NUMBER = re.compile(r"[+-]?(?:\d{1,30}(?:\.\d{0,30})?|\.\d{1,30})(?:[eE][+-]?\d{1,2})?(?:/\d{1,12})?")
#: Numbers that begin like one of those, and that no quantity reaches.
_BEYOND = re.compile(r"[+-]?(?:\d{31}|(?:\d+\.?\d*|\.\d+)[eE][+-]?\d{3})")
_FACTOR = r"\(* ?(?:1|[A-Za-zµμΩ°_]+(?: ?(?:\^|\*\*) ?-?[1-4])?) ?\)*"
#: Products and quotients of named units; a power is one digit, and nothing is raised twice.
_UNIT = re.compile(rf"{_FACTOR}(?: ?[*/ ] ?{_FACTOR})*")
#: What pint raises for a text that is no unit.
_NO_UNIT = (
    pint.errors.PintError,
    AttributeError,
    SyntaxError,
    TypeError,
    ValueError,
    ZeroDivisionError,
    tokenize.TokenError,
)
_LONGEST, _LONGEST_UNIT = 80, 40
_SMALLEST, _LARGEST = Fraction(1, 10**12), Fraction(10**12)

Sign = Literal["positive", "non-negative", "any"]


@dataclass(frozen=True)
class Kind:
    """A kind of quantity: its words, the unit its exact value counts in, and that unit's size in SI."""

    name: str
    unit: str
    example: str
    si_factor: float = 1.0


_TURN = 2.0 * math.pi

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("length", "m", "48.2 mm"),
        Kind("mass", "kg", "1.35 kg"),
        Kind("density", "kg/m^3", "7860 kg/m^3"),
        Kind("force", "N", "40 N"),
        Kind("torque", "N*m", "0.45 N*m"),
        Kind("inertia", "kg*m^2", "68 g*cm^2"),
        Kind("angle", "turn", "1.8 deg", _TURN),
        Kind("angular speed", "turn/s", "600 rpm", _TURN),
        Kind("angular acceleration", "turn/s^2", "90 deg/s^2", _TURN),
        Kind("time", "s", "150 ms"),
        Kind("rate", "Hz", "40 kHz"),
        Kind("current", "A", "1.5 A"),
        Kind("voltage", "V", "24 V"),
        Kind("resistance", "ohm", "1.4 ohm"),
        Kind("inductance", "H", "2.8 mH"),
        Kind("capacitance", "F", "2200 uF"),
        Kind("temperature", "degC", "80 degC"),
        Kind("thermal resistance", "K/W", "4.5 K/W"),
        Kind("torsional stiffness", "N*m/turn", "50 N*m/rad", 1 / _TURN),
    )
}


@dataclass(frozen=True)
class Quantity:
    """A physical value as the user wrote it.

    `exact` is the value in the kind's own unit (SI, but turns for every angle); `si` is the SI float (rad for angles).
    """

    text: str
    exact: Fraction
    kind: str

    @property
    def si(self) -> float:
        """The value in SI units as a float (angles in rad)."""
        return float(self.exact) * KINDS[self.kind].si_factor

    def to(self, unit: str) -> float:
        """The value in `unit`, e.g. "mm" or "deg"; the unit must be of the same kind."""
        return float(self.exact / _unit_size(unit, KINDS[self.kind]))

    def __str__(self) -> str:
        return self.text


@cache
def _registry() -> pint.UnitRegistry[Any]:
    registry: pint.UnitRegistry[Any] = pint.UnitRegistry(
        _DEFINITIONS.strip().splitlines(), non_int_type=Fraction, cache_folder=None
    )
    return registry


def _refuse(problem: str, kind: Kind, remedy: str = "") -> PydanticCustomError:
    text = remedy or f'Write a string with a unit, like "{kind.example}"'
    return PydanticCustomError("quantity", "{problem}", {"problem": problem, "remedy": text})


def _unit_names(units: Iterable[str]) -> set[str]:
    """The plain names of the units, prefixes taken off ("kilojoule" -> "joule")."""
    registry = _registry()
    return {name for unit in units for _, name, _ in registry.parse_unit_name(unit)}


@cache
def _unit_size(text: str, kind: Kind) -> Fraction:
    """How many of the kind's own units one `text` is, exactly. Raises `PydanticCustomError` if it is another kind."""
    registry = _registry()
    if len(text) > _LONGEST_UNIT or not _UNIT.fullmatch(" ".join(text.split())):
        raise _refuse(f"{text!r} is not a unit", kind)
    try:
        unit = registry.parse_units(text)
    except _NO_UNIT as error:
        raise _refuse(f"unit {text!r} is not known", kind) from error
    wanted = registry.parse_units(kind.unit)
    names = _unit_names(str(name) for name in unit._units)  # noqa: SLF001  pint has no public list of a unit's parts
    if unit.dimensionality != wanted.dimensionality:
        raise _refuse(f"{text!r} is not a unit of {kind.name}", kind, _likely_unit(text, names, kind))
    if kind.name == "torque" and names & _ENERGY_UNITS:
        raise _refuse(f"{text!r} is a unit of energy, not of torque", kind, 'Write a torque, like "0.45 N*m"')
    size = registry.convert(Fraction(1), unit, wanted)
    return Fraction(size)


def _likely_unit(text: str, names: set[str], kind: Kind) -> str:
    if kind.name in ("torque", "force") and names & {"ounce", "pound", "gram"}:
        return f'{text!r} counts mass; write the force unit, "ozf", "lbf" or "kgf", or newtons'
    if kind.name == "temperature" and "kelvin" in names:
        return 'A temperature counts from 0 degC; write "80 degC"'
    if kind.name == "angular speed" and "hertz" in names:
        return 'A frequency is no speed of turning; write "rpm" or "deg/s"'
    return ""


def parse_quantity(text: str, kind_name: str, sign: Sign = "any") -> Quantity:
    """Read `text` ("48.2 mm", "1/2 in") as a quantity of the kind named, exactly.

    Raises `PydanticCustomError` (a ValueError) when the text is too long, has no number or no unit, or has a unit of
    another kind, or when the value is not in the range `sign` allows.
    """
    kind = KINDS[kind_name]
    stripped = text.strip()
    if len(stripped) > _LONGEST:
        raise _refuse(f"a value of {len(stripped)} characters is too long", kind)
    number = _NUMBER.match(stripped)
    if number is None:
        raise _refuse(f"{stripped!r} does not begin with a finite number", kind)
    if _BEYOND.match(stripped):
        raise _refuse(f"{stripped!r} is out of any workshop's range", kind)
    unit = stripped[number.end() :].strip()
    if not unit:
        raise _refuse(f"{stripped!r} has no unit", kind)
    try:
        value = _fraction(number.group())
    except ZeroDivisionError as error:
        raise _refuse(f"{stripped!r} divides by zero", kind) from error
    exact = value * _unit_size(unit, kind)
    if exact and not _SMALLEST < abs(exact) < _LARGEST:
        raise _refuse(f"{stripped!r} is out of any workshop's range", kind)
    if sign == "positive" and exact <= 0:
        raise _refuse(f"{stripped!r} must be greater than zero", kind)
    if sign == "non-negative" and exact < 0:
        raise _refuse(f"{stripped!r} must not be negative", kind)
    return Quantity(text=stripped, exact=exact, kind=kind_name)


def _fraction(number: str) -> Fraction:
    """A decimal with an optional divisor ("48.2", "1e-3", "3/8")."""
    decimal, _, divisor = number.partition("/")
    return Fraction(decimal) / Fraction(divisor or 1)


@dataclass(frozen=True)
class QuantityField:
    """Pydantic annotation: the field is a string with a unit of `kind`, in the range `sign` allows."""

    kind: str
    sign: Sign = "positive"

    def _validate(self, value: object) -> Quantity:
        kind = KINDS[self.kind]
        if isinstance(value, Quantity):
            if value.kind != self.kind:
                raise _refuse(f"{value.text!r} is of kind {value.kind}, not {self.kind}", kind)
            parse_quantity(value.text, self.kind, self.sign)
            return value
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise _refuse(f"{type(value).__name__} instead of a {self.kind}", kind)
        if isinstance(value, int | float):
            raise _refuse(f"bare number {value!r}: the unit is missing", kind)
        return parse_quantity(value, self.kind, self.sign)

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(
            self._validate,
            serialization=core_schema.plain_serializer_function_ser_schema(lambda quantity: quantity.text),
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        kind = KINDS[self.kind]
        article = {"positive": ", greater than zero", "non-negative": ", not negative", "any": ""}[self.sign]
        return {
            "type": "string",
            "description": f"{kind.name} with its unit{article}",
            "examples": [kind.example],
            "pattern": r"^\s*[+-]?[0-9.][0-9.eE+/-]*\s*[A-Za-zµμΩ°(].*$",
        }


Length = Annotated[Quantity, QuantityField("length")]
LengthOrZero = Annotated[Quantity, QuantityField("length", "non-negative")]
Mass = Annotated[Quantity, QuantityField("mass")]
Density = Annotated[Quantity, QuantityField("density")]
Force = Annotated[Quantity, QuantityField("force")]
Torque = Annotated[Quantity, QuantityField("torque")]
TorqueOrZero = Annotated[Quantity, QuantityField("torque", "non-negative")]
Inertia = Annotated[Quantity, QuantityField("inertia")]
InertiaOrZero = Annotated[Quantity, QuantityField("inertia", "non-negative")]
Angle = Annotated[Quantity, QuantityField("angle")]
AngleOrZero = Annotated[Quantity, QuantityField("angle", "non-negative")]
SignedAngle = Annotated[Quantity, QuantityField("angle", "any")]
AngularSpeed = Annotated[Quantity, QuantityField("angular speed")]
AngularAcceleration = Annotated[Quantity, QuantityField("angular acceleration")]
Time = Annotated[Quantity, QuantityField("time")]
TimeOrZero = Annotated[Quantity, QuantityField("time", "non-negative")]
Rate = Annotated[Quantity, QuantityField("rate")]
Current = Annotated[Quantity, QuantityField("current")]
Voltage = Annotated[Quantity, QuantityField("voltage")]
Resistance = Annotated[Quantity, QuantityField("resistance")]
Inductance = Annotated[Quantity, QuantityField("inductance")]
Capacitance = Annotated[Quantity, QuantityField("capacitance")]
#: A point of the Celsius scale, no difference: it counts in degC in `si`, too, and kelvins are no unit of it.
Temperature = Annotated[Quantity, QuantityField("temperature", "any")]
ThermalResistance = Annotated[Quantity, QuantityField("thermal resistance")]
TorsionalStiffness = Annotated[Quantity, QuantityField("torsional stiffness")]
