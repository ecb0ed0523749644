"""The kinds of quantities that the files hold, and the unit that each is counted in."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import NamedTuple

#: pi to 100 decimals, as a fraction: exact enough that no angle in radians and no arc rounds to a wrong step.
PI = Fraction("3.1415926535897932384626433832795028841971693993751058209749445923078164062862089986280348253421170679")

_TURN = 2.0 * math.pi


class Kind(NamedTuple):
    """A kind of quantity: its words, the unit its exact value counts in, and that unit's size in SI.

    `usual`: units that are products, as they are usually written; a unit with a name of its own need not stand there.
    """

    name: str
    unit: str
    example: str
    si_factor: float = 1.0
    usual: tuple[str, ...] = ()

    @property
    def one(self) -> str:
        """The name with its article: "a torque", "an angle"."""
        return f"{'an' if self.name[0] in 'aeiou' else 'a'} {self.name}"


_OF_TORQUE = ("N*m", "N*cm", "N*mm", "mN*m", "cN*m", "kgf*m", "kgf*cm", "kgf*mm", "lbf*in", "lbf*ft", "ozf*in")
_OF_INERTIA = ("kg*m^2", "kg*cm^2", "kg*mm^2", "g*m^2", "g*cm^2", "g*mm^2", "lb*in^2", "lb*ft^2", "oz*in^2")

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("length", "m", "48.2 mm"),
        Kind("mass", "kg", "1.35 kg"),
        Kind("density", "kg/m^3", "7860 kg/m^3", usual=("kg/m^3", "g/cm^3", "lb/in^3", "lb/ft^3")),
        Kind("force", "N", "40 N"),
        Kind("torque", "N*m", "0.45 N*m", usual=_OF_TORQUE),
        Kind("inertia", "kg*m^2", "68 g*cm^2", usual=_OF_INERTIA),
        Kind("angle", "turn", "1.8 deg", _TURN),
        Kind(
            "angular speed",
            "turn/s",
            "600 rpm",
            _TURN,
            ("deg/s", "rad/s", "turn/s", "rev/s", "deg/min", "turn/min", "rev/min"),
        ),
        Kind(
            "angular acceleration",
            "turn/s^2",
            "90 deg/s^2",
            _TURN,
            ("deg/s^2", "rad/s^2", "turn/s^2", "rev/s^2", "rpm/s"),
        ),
        Kind("time", "s", "150 ms"),
        Kind("rate", "Hz", "40 kHz", usual=("1/s",)),
        Kind("current", "A", "1.5 A"),
        Kind("voltage", "V", "24 V"),
        Kind("resistance", "ohm", "1.4 ohm"),
        Kind("inductance", "H", "2.8 mH"),
        Kind("capacitance", "F", "2200 uF"),
        Kind("temperature", "degC", "80 degC"),
        Kind("thermal resistance", "K/W", "4.5 K/W", usual=("K/W",)),
        Kind(
            "torsional stiffness",
            "N*m/turn",
            "50 N*m/rad",
            1 / _TURN,
            ("N*m/rad", "N*m/deg", "N*m/turn", "N*mm/rad", "N*m/arcmin", "lbf*in/rad", "lbf*in/deg"),
        ),
    )
}
