"""A datum that nobody stated, with the range it is assumed to lie in."""

from __future__ import annotations

from enum import Enum
from typing import NamedTuple, TypeAlias

from firmware_host.mechanics.body.inertia import cylinder_volume, mass_from_density, solid_cylinder_inertia
from firmware_host.units import KINDS, Quantity, parse_quantity

Value: TypeAlias = "Quantity | float | bool"
Path: TypeAlias = "tuple[str | int, ...]"

STEEL = 7860.0
"""Density of the steel that a wheel or a roller is assumed to be made of at most, kg/m^3."""

COMMON = "common practice, no source"
MEMORY = "from memory"


class Together(Enum):
    """Data of one kind are taken at the same end of their ranges; either end of each kind may be the unkind one."""

    ROTOR = "rotor"
    INERTIA = "inertia"
    IMBALANCE = "imbalance"
    EFFICIENCY = "efficiency"
    FRICTION = "friction"
    STANDSTILL = "current at standstill"
    PLACE = "place"
    SHAPING = "shape of the phase currents"
    ALONE = "one end is unkind in every respect"


class Assumption(NamedTuple):
    """A datum assumed to lie between `low` and `high`.

    `key`: dotted, as a file or an option names it. `path`: where the model holds it, below the job or the machine.
    `unkind` is the end that is taken first, `kind` the other one: the same where `together` is `ALONE`, for then no
    figure gets worse with any other value of the range.
    """

    key: str
    path: Path
    low: Value
    high: Value
    together: Together
    source: str
    unkind_is_low: bool = False

    @property
    def unkind(self) -> Value:
        """The end of the range that is the unkind one in most respects."""
        return self.low if self.unkind_is_low else self.high

    @property
    def other(self) -> Value:
        """The end of the range that is not the unkind one."""
        return self.high if self.unkind_is_low else self.low

    @property
    def kind(self) -> Value:
        """The end that is taken where the other one of data varied `together` counts."""
        return self.unkind if self.together is Together.ALONE else self.other

    @property
    def words(self) -> str:
        """The range, for a reader."""
        join = " or " if isinstance(self.low, bool) else " to "
        return join.join(self.words_of(end) for end in (self.low, self.high))

    def words_of(self, value: Value) -> str:
        """A value of the range, for a reader."""
        if isinstance(value, bool):
            return "yes" if value else "no"
        return value.text if isinstance(value, Quantity) else f"{value:g}"


def solid_steel_inertia(diameter: float, length: float) -> float:
    """Inertia (kg m^2) of a cylinder of solid steel about its axis, of `diameter` and `length` (m, > 0)."""
    radius = diameter / 2
    return solid_cylinder_inertia(mass_from_density(STEEL, cylinder_volume(radius, length)), radius)


def quantity(value: float, unit: str, kind: str) -> Quantity:
    """`value` in `unit` as a quantity of the kind named, to four figures."""
    if kind not in KINDS:
        raise KeyError(kind)
    return parse_quantity(f"{value:.4g} {unit}", kind)
