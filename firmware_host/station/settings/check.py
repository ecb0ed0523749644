"""Do the controller's stored settings fit the plan? If not: what differs, and whether writing them helps."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from firmware_host.controller.standstill import HALF_STEP
from firmware_host.controller.stored_settings import (
    FIX,
    SINGLE_ROUNDING,
    WRITE,
    ControllerSettings,
    Difference,
    WantedSettings,
    decimal_text,
)
from firmware_host.errors import ControllerError, CoordinateError, SettingsMismatchError
from firmware_host.model import Machine
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.route.controller_units import axis_units, floor_text
from firmware_host.planning.route.coordinates import StoredScale

_PRINTED = Fraction(1, 1000)
"""So near, as a part of it, a printed scale is taken for the one that is meant."""
_OWN_TOOLS = "change it with the controller's own tools, and state it in the machine file"
_THIRD_DECIMAL_HOLDS_BELOW = 1 << 14
STATED = "link.stated."
"""Begins the key of a value that the machine's file states; such a difference can't be written to the controller."""


@dataclass(frozen=True)
class SafeSettings:
    """What the plan asks of the controller, in its units: exact scale, and the most it may do."""

    scale: Fraction
    acceleration: str
    rate: str
    highest_rate: float


def safe_settings(machine: Machine, plan: JobPlan) -> SafeSettings:
    """Steps-per-unit with three decimals; acceleration and rate of the plan, rounded down; the highest rate allowed.

    The highest rate (units/min) is the one at which the steps come as fast as driver and controller can take them.
    """
    scale = StoredScale.as_written(machine.steps_per_axis_unit).middle
    per_turn = plan.route.per_part_turn
    steps_per_s = min(machine.driver.highest_step_rate.si, machine.link.highest_step_rate.si)
    return SafeSettings(
        scale=scale,
        acceleration=_storable(axis_units(plan.program.acceleration, per_turn, scale)),
        rate=_storable(60 * axis_units(plan.program.speed, per_turn, scale)),
        highest_rate=60 * steps_per_s / float(scale),
    )


def _storable(value: float) -> str:
    """`value` rounded down to a text that a 32-bit float, printed with three decimals, gives back.

    Below 2**14 such a float is nearer than half of the third decimal; above, only whole numbers are certain.
    """
    return floor_text(value, 3 if value < _THIRD_DECIMAL_HOLDS_BELOW else 0)


def settings_differences(machine: Machine, plan: JobPlan, settings: ControllerSettings) -> tuple[Difference, ...]:
    """Every stored setting that the run may not start with; `wanted` is the text to write under `key`.

    Where the controller doesn't tell, what the machine's file states is judged, and `key` begins with `STATED`. Raises
    `ControllerError` if that states nothing.
    """
    _require_known(settings)
    safe = safe_settings(machine, plan)
    wanted = WantedSettings(
        steps_per_unit=safe.scale,
        never_released=True,
        inches=False,
        soft_limits=False if machine.axis.travel == "endless" else None,
        homing=machine.axis.home_switch,
    )
    found = list(settings.compare(wanted))
    names = settings.names
    if settings.stored_steps_per_unit is None and settings.stated.steps_per_unit != safe.scale:
        key = f"{STATED}steps_per_unit"
        found.append(Difference("steps per unit", key, settings.steps_per_unit.text, decimal_text(safe.scale)))
    if settings.acceleration_units_per_s2.low > Fraction(safe.acceleration) * (1 + SINGLE_ROUNDING):
        text = f"{settings.acceleration_units_per_s2.text} units/s^2, above the highest safe one"
        key = names.acceleration if settings.stored_acceleration is not None else f"{STATED}acceleration"
        found.append(Difference("acceleration", key, text, safe.acceleration))
    if float(settings.rate_units_per_min.value) > safe.highest_rate:
        text = f"{settings.rate_units_per_min.text} units/min, more steps per second than driver or controller can take"
        key = names.rate if settings.stored_rate is not None else f"{STATED}rate"
        found.append(Difference("rate", key, text, safe.rate))
    return tuple(found)


def _require_known(settings: ControllerSettings) -> None:
    """Raise `ControllerError` for what the controller doesn't report and the machine's file doesn't state."""
    stated = {
        "steps_per_unit": ("steps per unit", settings.stated.steps_per_unit),
        "rate": ("rate", settings.stated.rate_units_per_min),
        "acceleration": ("acceleration", settings.stated.acceleration_units_per_s2),
    }
    missing = {name: key for key, (name, value) in stated.items() if value is None and name in settings.unreadable}
    if missing:
        keys = ", ".join(f"{STATED}{key}" for key in missing.values())
        raise ControllerError(
            f"does not report its {', '.join(missing)}: state {keys} in the machine file as it is set in the "
            "controller, and confirm it on the machine"
        )


def require_writable(machine: Machine, plan: JobPlan, settings: ControllerSettings) -> None:
    """Raise `SettingsMismatchError` for what does not fit and cannot be written: the machine's file states it."""
    found = [d for d in settings_differences(machine, plan, settings) if d.key.startswith(STATED)]
    if found:
        raise SettingsMismatchError(tuple(map(str, found)), _OWN_TOOLS)


def require_fitting(machine: Machine, plan: JobPlan, settings: ControllerSettings, *, written: bool = False) -> None:
    """Raise `SettingsMismatchError` when any setting differs; its act is to write them, unless they were `written`."""
    found = settings_differences(machine, plan, settings)
    if not found:
        return
    told = tuple(_told(difference, settings) for difference in found)
    if all(difference.key.startswith(STATED) for difference in found):
        raise SettingsMismatchError(told, _OWN_TOOLS)
    if written:
        raise SettingsMismatchError(told, "see the controller's own documentation")
    switched = microsteps_that_fit(machine, settings)
    if switched is None:
        raise SettingsMismatchError(told, FIX, acts=WRITE)
    here, there = machine.driver.microsteps, switched
    file = f"the controller's steps per unit are those of {there} microsteps, and driver.microsteps is {here}"
    raise SettingsMismatchError(
        told, f"{file}. If {there} is right, set it in the machine file; else {FIX}", acts=WRITE
    )


def _told(difference: Difference, settings: ControllerSettings) -> str:
    """The difference, with what it would do where its name does not say so."""
    if difference.key and difference.key == settings.names.release_delay:
        return f"{difference} (never): so long after each move the motor is let go of, and the part may turn by itself"
    return str(difference)


def microsteps_that_fit(machine: Machine, settings: ControllerSettings) -> int | None:
    """The microsteps with which the machine would have the controller's steps per unit, where the file's have not.

    None where they fit, where the controller does not tell, or where it is no usual number: a power of 2 up to 256.
    """
    stored, here = settings.stored_steps_per_unit, machine.driver.microsteps
    if stored is None:
        return None
    ratio = stored.value / machine.steps_per_axis_unit
    for there in (1 << power for power in range(9)):
        if there != here and abs(ratio / Fraction(there, here) - 1) < _PRINTED:
            return there
    return None


def require_resolution(off_steps: float) -> None:
    """Raise `CoordinateError` when reported positions may be off by half a step: a lost step could not be seen."""
    if off_steps >= HALF_STEP:
        raise CoordinateError(
            "the controller's position reports are too coarse to show a lost step: off by up to",
            off_steps,
            "steps",
            HALF_STEP,
            "Use fewer microsteps, or reports of the machine position instead of the work position",
        )


def stored_scale(settings: ControllerSettings, known: Fraction | None) -> StoredScale:
    """The steps-per-unit to plan with: exact if it is known, else the interval that the printed text leaves open."""
    if known is not None:
        return StoredScale.exactly(known)
    number = settings.steps_per_unit
    return StoredScale(number.low, number.high)
