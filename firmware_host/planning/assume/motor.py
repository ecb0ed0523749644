"""What a motor is assumed to be where only its label is known: by its frame size and its rated current.

The windings of one frame size take about the same power at their rated current, whatever the current is, and have about
the same time constant L/R; rotors grow with the torque. All figures from memory of many datasheets.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import NamedTuple

from firmware_host.mechanics.motor.heat import COPPER_TEMPERATURE_COEFFICIENT
from firmware_host.model.machine.motor import Motor
from firmware_host.planning.assume.assumption import MEMORY, Assumption, Together, quantity

Range = tuple[float, float]


class Frame(NamedTuple):
    """Ranges of one frame size.

    `rotor`: rotor inertia (g cm^2) per N m of holding torque. `loss`: I^2 R (W) of one phase at its rated current.
    `time_constant`: L/R (ms). `words`: for a reader.
    """

    words: str
    rotor: Range
    loss: Range
    time_constant: Range


FRAMES: Mapping[int, Frame] = MappingProxyType(
    {
        14: Frame("frame size 14 (35 mm)", (60, 180), (1.5, 3.5), (0.5, 2.5)),
        17: Frame("frame size 17 (42 mm)", (100, 250), (2.0, 6.5), (0.8, 3.0)),
        23: Frame("frame size 23 (57 mm)", (150, 350), (4.0, 13.0), (1.2, 5.0)),
        34: Frame("frame size 34 (86 mm)", (200, 450), (7.0, 25.0), (3.0, 14.0)),
    }
)
ANY_FRAME = Frame("any frame size: state motor.frame", (60, 450), (1.5, 25.0), (0.5, 14.0))

_FLANGES_MM = {35: 14, 39: 17, 42: 17, 56: 23, 57: 23, 58: 23, 60: 23, 85: 34, 86: 34}
_ALIKE = {24: 23}

DETENT_SHARES = (0.02, 0.1)
"""Detent torque over holding torque of hybrid motors: from memory."""

EQUAL_LOSS_FREQUENCIES = (500.0, 1700.0)
"""Hz of a phase's current at which iron and copper loss are alike, 600 to 2040 rpm of 200 full steps: from memory."""

RATED_RISE = 100.0
"""Most that a winding rises at the rated current in both phases, for ever, K: what it is rated by (from memory)."""


def frame_of(motor: Motor) -> Frame:
    """The frame size that `motor.frame` names ("NEMA 17", "42 mm"), else all of them together."""
    number = re.search(r"\d+", motor.frame)
    if number is None:
        return ANY_FRAME
    size = int(number.group())
    size = _FLANGES_MM.get(size, 0) if "mm" in motor.frame else _ALIKE.get(size, size)
    return FRAMES.get(size, ANY_FRAME)


def motor_assumptions(motor: Motor) -> Iterator[Assumption]:
    """What the motor's description leaves open."""
    frame = frame_of(motor)
    source = f"{frame.words}, {MEMORY}"
    if motor.rotor_inertia is None:
        low, high = (quantity(each * motor.holding_torque.si, "g*cm^2", "inertia") for each in frame.rotor)
        yield Assumption("motor.rotor_inertia", ("motor", "rotor_inertia"), low, high, Together.ROTOR, source)
    if motor.resistance is None:
        low, high = (quantity(loss / motor.rated_current.si**2, "ohm", "resistance") for loss in frame.loss)
        yield Assumption("motor.resistance", ("motor", "resistance"), low, high, Together.ALONE, source)
    resistance = largest_resistance(motor)
    if motor.inductance is None:
        low, high = (quantity(each * resistance, "mH", "inductance") for each in frame.time_constant)
        yield Assumption("motor.inductance", ("motor", "inductance"), low, high, Together.ALONE, source)
    if motor.thermal_resistance is None:
        hottest = rated_thermal_resistance(motor.rated_current.si, resistance)
        low, high = (quantity(each * hottest, "K/W", "thermal resistance") for each in (0.5, 1.0))
        why = f"a motor rated for a rise of 50 to {RATED_RISE:g} K with its rated current in both phases, {MEMORY}"
        path = ("motor", "thermal_resistance")
        yield Assumption("motor.thermal_resistance", path, low, high, Together.ALONE, why)
    if motor.highest_temperature is None:
        low, high = quantity(105, "degC", "temperature"), quantity(155, "degC", "temperature")
        why, path = "thermal classes 105 to 155 of IEC 60085", ("motor", "highest_temperature")
        yield Assumption("motor.highest_temperature", path, low, high, Together.ALONE, why, unkind_is_low=True)
    if motor.ambient is None:
        low, high = quantity(20, "degC", "temperature"), quantity(40, "degC", "temperature")
        why = "workshop air, up to the 40 degC that IEC 60034-1 rates machines for"
        yield Assumption("motor.ambient", ("motor", "ambient"), low, high, Together.ALONE, why)
    if motor.detent_torque is None:
        low, high = (quantity(part * motor.holding_torque.si, "N*m", "torque") for part in DETENT_SHARES)
        why, path = f"a fiftieth to a tenth of the holding torque, {MEMORY}", ("motor", "detent_torque")
        yield Assumption("motor.detent_torque", path, low, high, Together.ALONE, why, unkind_is_low=True)


def iron_assumptions(motor: Motor) -> Iterator[Assumption]:
    """The speed at which the iron loss is as large as the copper loss at the rated current."""
    if motor.iron_loss_speed is None:
        turns = (frequency / (motor.full_steps // 4) for frequency in EQUAL_LOSS_FREQUENCIES)
        low, high = (quantity(each * 60, "rpm", "angular speed") for each in turns)
        why, path = f"hybrid motors, {MEMORY}", ("motor", "iron_loss_speed")
        yield Assumption("motor.iron_loss_speed", path, low, high, Together.ALONE, why, unkind_is_low=True)


def largest_resistance(motor: Motor) -> float:
    """Resistance of a phase as stated, else the highest of its range, ohm."""
    if motor.resistance is not None:
        return motor.resistance.si
    return frame_of(motor).loss[1] / motor.rated_current.si**2


def rated_thermal_resistance(rated_current: float, resistance: float) -> float:
    """Thermal resistance (K/W) of a winding that rises by `RATED_RISE` with `rated_current` (A) in both phases.

    From rise = R_th 2 I^2 R (1 + alpha rise), of a winding at 20 degC when cold (`mechanics.motor.heat.winding_rise`).
    """
    hot = 1 + COPPER_TEMPERATURE_COEFFICIENT * RATED_RISE
    return RATED_RISE / (2 * rated_current**2 * resistance * hot)
