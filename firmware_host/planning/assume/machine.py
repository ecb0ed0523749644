"""What driver, drive and support are assumed to be where nobody said."""

from __future__ import annotations

from collections.abc import Iterator

from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.mechanics.contact.friction import ROLLING_LEVER_ARM
from firmware_host.mechanics.contact.support import weight_along
from firmware_host.model.machine.driver import Driver
from firmware_host.model.machine.drives.base import Cradle, Drive
from firmware_host.model.machine.machine import Machine, Support
from firmware_host.model.part.part import RoundPart
from firmware_host.planning.assume.assumption import COMMON, MEMORY, Assumption, Together, quantity, solid_steel_inertia

PLAIN_BEARING = 0.15
"""Coefficient of friction of a plain bearing that stands still, lightly greased: from memory."""

COVERED_ROLLERS = (0.3, 0.8)
"""Coefficient of friction of covered rollers on a dry, clean part: from memory. Plain metal grips less: state it."""

ROLLING_SHARE = 0.05
"""Most that the lever arm of rolling is of a roller's radius: half of a contact flattened to a tenth of it."""

_BALL_BEARING, _IDLE_DRAG = 0.005, 0.0005
_SPINDLE_RADIUS, _SEALS = 0.020, 0.15
_ROLLER_SHAFT_RADIUS, _ROLLER_SEALS = 0.005, 0.02
_CENTRE_RADIUS, _CENTRE_FORCE = 0.005, 500.0
_ROLLER_LENGTHS = (0.02, 0.3)
_HEAVY_CHUCK = 10.0
_NEWTON_METRES = "N*m", "torque"


def driver_assumptions(driver: Driver) -> Iterator[Assumption]:
    """What the driver's description leaves open."""
    if driver.standstill_current is None:
        why, path = f"drivers that reduce their current at standstill, {COMMON}", ("driver", "standstill_current")
        yield Assumption("driver.standstill_current", path, 0.5, 1.0, Together.STANDSTILL, why, unkind_is_low=True)
    if driver.smallest_pulse is None:
        low, high = quantity(1, "us", "time"), quantity(10, "us", "time")
        why, path = f"stepper drivers, {MEMORY}", ("driver", "smallest_pulse")
        yield Assumption("driver.smallest_pulse", path, low, high, Together.ALONE, why)


def shaping_assumptions(driver: Driver) -> Iterator[Assumption]:
    """Whether full and half steps shape the phase currents; microsteps always do."""
    if driver.current_shaped is None and driver.microsteps <= 2:
        why, path = "drivers of either sort are sold", ("driver", "current_shaped")
        yield Assumption("driver.current_shaped", path, False, True, Together.SHAPING, why)


def drive_assumptions(drive: Drive, part_mass: float, thrust: float = 0.0) -> Iterator[Assumption]:
    """What the drive's description leaves open; `part_mass` kg, the part it carries; `thrust`
    N, of a tailstock.

    Each drive is asked for the keys it has: a drive without rollers has none of a roller's.
    """
    chuck, unknown = drive.weight
    weight = STANDARD_GRAVITY * (part_mass + (_HEAVY_CHUCK if unknown else chuck)) + thrust
    lies, open_keys = drive.cradle is not None, _open_keys(drive)
    if "friction_torque" in open_keys:
        yield _bearings("friction_torque", weight, rollers=lies)
    if drive.cradle is not None:
        yield from _cradle_assumptions(drive, drive.cradle, open_keys, weight)
    if "roller_diameter_uncertainty" in open_keys:
        yield diameter_uncertainty("drive.roller_diameter_uncertainty", ("drive", "roller_diameter_uncertainty"))


def _cradle_assumptions(drive: Drive, cradle: Cradle, open_keys: set[str], weight: float) -> Iterator[Assumption]:
    """What the rollers' description leaves open; `weight` N, of the part that lies on them."""
    if "idle_friction_torque" in open_keys:
        most = _IDLE_DRAG + _BALL_BEARING * weight * _ROLLER_SHAFT_RADIUS
        low, high = quantity(0, *_NEWTON_METRES), quantity(most, *_NEWTON_METRES)
        why, path = f"nothing to small ball bearings with shields, {COMMON}", ("drive", "idle_friction_torque")
        yield Assumption("drive.idle_friction_torque", path, low, high, Together.FRICTION, why)
    if "friction" in open_keys and cradle.surfaces is None:
        why, path = f"rollers covered to grip (rubber, urethane, silicone), {MEMORY}", ("drive", "friction")
        yield Assumption("drive.friction", path, *COVERED_ROLLERS, Together.ALONE, why, unkind_is_low=True)
    if "rolling_resistance" in open_keys and cradle.surfaces not in ROLLING_LEVER_ARM:
        most, path = ROLLING_SHARE * cradle.roller_diameter / 2, ("drive", "rolling_resistance")
        ends = quantity(0, "mm", "length"), quantity(most * 1e3, "mm", "length")
        why = f"nothing to {ROLLING_SHARE:g} of the roller's radius, {COMMON}"
        yield Assumption("drive.rolling_resistance", path, *ends, Together.FRICTION, why)
    if "roller_inertia" in open_keys:
        yield _roller_inertia(cradle.roller_diameter, getattr(drive, "roller_length", None))


def support_assumptions(support: Support) -> Iterator[Assumption]:
    """What the description of the tailstock leaves open."""
    if support.tailstock and support.friction_torque is None:
        force = thrust_of(support)
        most = PLAIN_BEARING * force * _CENTRE_RADIUS
        low, high = quantity(0, *_NEWTON_METRES), quantity(most, *_NEWTON_METRES)
        why = f"up to a dead centre of 10 mm pressed with {force:g} N, coefficient {PLAIN_BEARING:g}, {COMMON}"
        path = ("support", "friction_torque")
        yield Assumption("support.friction_torque", path, low, high, Together.FRICTION, why)


def rest_assumptions(support: Support, part: RoundPart, part_mass: float) -> Iterator[Assumption]:
    """What the description of a steady rest leaves open, for a part of `part_mass` kg."""
    rest = support.steady_rest
    if rest is None or rest.friction_torque is not None:
        return
    pressed = STANDARD_GRAVITY * part_mass * max(1.0, part.whole_length.si / rest.position.si)
    most = PLAIN_BEARING * pressed * max(part.diameter.si, part.contact.si) / 2
    low, high = quantity(0, *_NEWTON_METRES), quantity(most, *_NEWTON_METRES)
    why = f"up to plain jaws under all that the part can press them with, coefficient {PLAIN_BEARING:g}, {COMMON}"
    path = ("support", "steady_rest", "friction_torque")
    yield Assumption("support.steady_rest.friction_torque", path, low, high, Together.FRICTION, why)


def stop_assumptions(machine: Machine, part: RoundPart, part_mass: float) -> Iterator[Assumption]:
    """What the description of an axial stop leaves open that a tilted axis presses a part of `part_mass` kg against."""
    cradle, tilt = machine.drive.cradle, machine.axis.tilt.si
    if cradle is None or not cradle.axial_stop or tilt == 0 or cradle.stop_friction_torque is not None:
        return
    most = PLAIN_BEARING * weight_along(part_mass, tilt) * max(part.diameter.si, part.contact.si) / 2
    low, high = quantity(0, *_NEWTON_METRES), quantity(most, *_NEWTON_METRES)
    why = f"up to a plain stop at the part's rim, coefficient {PLAIN_BEARING:g}, {COMMON}"
    path = ("drive", "stop_friction_torque")
    yield Assumption("drive.stop_friction_torque", path, low, high, Together.FRICTION, why)


def thrust_of(support: Support) -> float:
    """Force (N) that a tailstock presses with, as stated or as assumed; 0 without one."""
    if not support.tailstock:
        return 0.0
    return support.tailstock_force.si if support.tailstock_force is not None else _CENTRE_FORCE


def diameter_uncertainty(key: str, path: tuple[str, ...]) -> Assumption:
    """How well a diameter is known that somebody measured with a calliper."""
    low, high = quantity(0, "mm", "length"), quantity(0.1, "mm", "length")
    why = f"a calliper on a part that is not quite round, {COMMON}"
    return Assumption(key, path, low, high, Together.ALONE, why)


def _open_keys(drive: Drive) -> set[str]:
    return {key for key in type(drive).model_fields if getattr(drive, key) is None}


def _bearings(key: str, weight: float, *, rollers: bool) -> Assumption:
    """Friction of bearings and seals: nothing, up to plain bearings under the whole weight (N) and tight seals."""
    radius, seals = (_ROLLER_SHAFT_RADIUS, _ROLLER_SEALS) if rollers else (_SPINDLE_RADIUS, _SEALS)
    low, high = quantity(0, *_NEWTON_METRES), quantity(seals + PLAIN_BEARING * weight * radius, *_NEWTON_METRES)
    why = (
        f"up to seals of {seals:g} N*m and plain bearings (coefficient {PLAIN_BEARING:g}, {radius * 2e3:g} mm) under "
        f"the whole weight and thrust, {COMMON}"
    )
    return Assumption(f"drive.{key}", ("drive", key), low, high, Together.FRICTION, why)


def _roller_inertia(diameter: float, length: object) -> Assumption:
    """Of one roller: nothing, up to solid steel of its length, or of the longest usual one."""
    long = float(getattr(length, "si", _ROLLER_LENGTHS[1]))
    most = solid_steel_inertia(diameter, long)
    low, high = quantity(0, "kg*m^2", "inertia"), quantity(most, "kg*m^2", "inertia")
    why = f"nothing to a roller of solid steel, {long * 1e3:g} mm long"
    return Assumption("drive.roller_inertia", ("drive", "roller_inertia"), low, high, Together.INERTIA, why)
