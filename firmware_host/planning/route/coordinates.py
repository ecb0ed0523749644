"""Coordinates for a controller: decimal texts that its own 32-bit arithmetic turns into the intended step.

The controller reads a decimal into a 32-bit float, multiplies it by its steps-per-unit (a 32-bit float known only to an
interval, since it prints few decimals) and rounds to a whole step. Each coordinate is proved for the whole interval.
"""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import CoordinateError
from firmware_host.planning.steps import Steps

#: Farthest a machine coordinate may be from machine zero, in steps: beyond, a 32-bit float begins to lose whole steps.
LARGEST_STEPS = 1 << 22
#: A coordinate must land at least this much nearer to its step than to the next one, in steps.
ROOM = 0.05
_MOST_DIGITS = 8
#: Relative error of a 32-bit product, at most: a coordinate read to half a unit in the last place and two more (5
#: halves of 2^-23), the scale and the product each rounded to half a unit; a little more for their products.
_PRODUCT_ERROR = Fraction(701, 100) / 2**24
#: Relative error of a reported position: the scale as a 32-bit float and the quotient by it, each rounded once. (A step
#: count is exact up to 2^24, where this is two steps.)
_REPORT_ERROR = Fraction(201, 100) / 2**24


class StoredScale(NamedTuple):
    """The steps-per-unit a controller holds: somewhere in [`lowest`, `highest`] (exact, > 0)."""

    lowest: Fraction
    highest: Fraction

    @property
    def middle(self) -> Fraction:
        """The best guess."""
        return (self.lowest + self.highest) / 2

    @property
    def doubt(self) -> Fraction:
        """How far the value may be from the middle, relative (>= 0)."""
        return (self.highest - self.lowest) / 2 / self.middle

    @classmethod
    def exactly(cls, value: Fraction) -> StoredScale:
        """A value known exactly, such as one written with no more decimals than the controller keeps."""
        return cls(value, value)

    @classmethod
    def as_written(cls, value: Fraction, decimals: int = 3) -> StoredScale:
        """The value after rounding to the decimals that are written (three: the most that read back in full)."""
        scale = 10**decimals
        return cls.exactly(Fraction(round(value * scale), scale))


class Coordinates(NamedTuple):
    """Decimal coordinates of many targets: `scaled` (int64, shape (n,)) over 10**`decimals`, in controller units."""

    scaled: Steps
    decimals: int

    def text(self, index: int) -> str:
        """The coordinate as it is sent, e.g. "22.913"."""
        return _plain_text(int(self.scaled[index]), self.decimals)

    def values(self) -> NDArray[np.float64]:
        """The coordinates as floats."""
        return self.scaled / 10.0**self.decimals


def prove_coordinates(targets: Steps, scale: StoredScale, *, room: float = ROOM) -> Coordinates:
    """Coordinates (machine units) for targets (int64 machine steps, shape (n,)), each proved.

    Raises `CoordinateError`, naming the first target that is too far from machine zero or that the controller's
    arithmetic would not land on with `room` (steps) to spare for every value the scale may have.
    """
    farthest = int(np.abs(targets).max(initial=0))
    if farthest > LARGEST_STEPS:
        raise CoordinateError(
            "machine coordinate too far from machine zero for the controller's 32-bit arithmetic",
            farthest,
            "steps",
            LARGEST_STEPS,
            "Home, or unwind and set zero anew, before the job",
        )
    decimals = _decimals(scale.middle)
    scaled = np.rint(targets * float(Fraction(10**decimals) / scale.middle)).astype(np.int64)
    coordinates = Coordinates(scaled, decimals)
    _prove(targets, coordinates.values(), scale, room)
    return coordinates


def proved_reach(scale: StoredScale, *, room: float = ROOM) -> int:
    """How far from machine zero (steps, >= 0) a coordinate may be so that `prove_coordinates` is sure to pass it.

    The errors that it allows for are summed up at their largest: the text's last decimal, the doubt of the scale, and
    the controller's 32-bit arithmetic. A single target farther out may still pass.
    """
    text = scale.highest / (2 * Fraction(10) ** _decimals(scale.middle))
    landing = (Fraction(1, 2) - text) / (scale.doubt + _PRODUCT_ERROR)
    if scale.doubt:
        landing = min(landing, (Fraction(1, 2) - Fraction(room) - text) / scale.doubt)
    return max(min(math.floor(landing), LARGEST_STEPS), 0)


def reading_error(steps: int, scale: StoredScale) -> float:
    """By how much (steps, >= 0) a reported position, times the scale's middle, may differ from the true count `steps`.

    Apart from the report's few decimals: from the doubt of the scale and from the 32-bit floats it was made with.
    """
    return float(abs(steps) * (scale.doubt + _REPORT_ERROR))


def _decimals(steps_per_unit: Fraction) -> int:
    """Decimals that resolve a hundredth of a step, as far as a coordinate of 8 digits allows."""
    wanted = math.ceil(math.log10(float(steps_per_unit))) + 2
    return min(max(wanted, 3), _MOST_DIGITS)


def _prove(targets: Steps, values: NDArray[np.float64], scale: StoredScale, room: float) -> None:
    """Check every target for both ends of the scale's interval (rounding is monotone in between)."""
    for stored in (scale.lowest, scale.highest):
        off = np.abs(values * float(stored) - targets)
        _refuse_first(off > 0.5 - room, targets, off, scale, room)
        factor = np.float32(float(stored))
        for ulps in (-2, 0, 2):
            read = _shift(values.astype(np.float32), ulps)
            product = read * factor
            landed = np.copysign(np.floor(np.abs(product).astype(np.float64) + 0.5), product).astype(np.int64)
            _refuse_first(landed != targets, targets, np.abs(product.astype(np.float64) - targets), scale, room)


def _shift(values: NDArray[np.float32], ulps: int) -> NDArray[np.float32]:
    """Values moved by some units in the last place: a controller's own decimal reader need not round correctly."""
    towards = np.float32(math.inf if ulps > 0 else -math.inf)
    for _ in range(abs(ulps)):
        values = np.nextafter(values, towards)
    return values


def _refuse_first(
    bad: NDArray[np.bool_], targets: Steps, off: NDArray[np.float64], scale: StoredScale, room: float
) -> None:
    rows = np.flatnonzero(bad)
    if rows.size:
        from firmware_host.acts import WriteSettings  # with the first error that has any

        row = int(rows[0])
        remedy = "Begin nearer to machine zero, or set fewer microsteps"
        todo: tuple[WriteSettings, ...] = ()
        if scale.lowest != scale.highest:
            remedy = "Write the steps-per-unit with at most three decimals, or begin nearer to machine zero"
            todo = (WriteSettings(),)
        raise CoordinateError(
            f"the controller may land beside step {int(targets[row])}: off by up to",
            float(off[row]),
            "steps",
            0.5 - room,
            remedy,
            acts=todo,
        )


def decimal_text(value: Fraction, decimals: int) -> str:
    """A fraction as decimal text with `decimals` places, ties to even."""
    return _plain_text(round(value * 10**decimals), decimals)


def _plain_text(scaled: int, decimals: int) -> str:
    """`scaled` over 10**`decimals` without an exponent, which no controller reads."""
    return format(Decimal(scaled).scaleb(-decimals), "f")
