"""Does the controller's own mind agree with the plan? If not: what differs, and the one command that fixes it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from firmware_host.controller.standstill import HALF_STEP
from firmware_host.controller.stored_settings import (
    SINGLE_ROUNDING,
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

_THIRD_DECIMAL_HOLDS_BELOW = 1 << 14
STATED = "link.stated."
"""Before the name of what the machine's file states; such a difference can't be written to the controller."""


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

    Below 2**14 such a float is nearer than half of the third decimal; above, only whole numbers are sure.
    """
    return floor_text(value, 3 if value < _THIRD_DECIMAL_HOLDS_BELOW else 0)


def settings_differences(machine: Machine, plan: JobPlan, held: ControllerSettings) -> tuple[Difference, ...]:
    """Every stored setting that the run may not start with; `wanted` is the text to write under `key`.

    Where the controller doesn't tell, what the machine's file states is judged, and `key` begins with `STATED`. Raises
    `ControllerError` if that states nothing.
    """
    _require_known(held)
    safe = safe_settings(machine, plan)
    wanted = WantedSettings(
        steps_per_unit=safe.scale,
        never_released=True,
        inches=False,
        soft_limits=False if machine.axis.travel == "endless" else None,
        homing=machine.axis.home_switch,
    )
    found = list(held.compare(wanted))
    names = held.names
    if held.stored_steps_per_unit is None and held.stated.steps_per_unit != safe.scale:
        key = f"{STATED}steps_per_unit"
        found.append(Difference("steps per unit", key, held.steps_per_unit.text, decimal_text(safe.scale)))
    if held.acceleration_units_per_s2.low > Fraction(safe.acceleration) * (1 + SINGLE_ROUNDING):
        held_text = f"{held.acceleration_units_per_s2.text} units/s^2, above the highest safe one"
        key = names.acceleration if held.held_acceleration is not None else f"{STATED}acceleration"
        found.append(Difference("acceleration", key, held_text, safe.acceleration))
    if float(held.rate_units_per_min.value) > safe.highest_rate:
        held_text = f"{held.rate_units_per_min.text} units/min, more steps per second than can be made"
        key = names.rate if held.held_rate is not None else f"{STATED}rate"
        found.append(Difference("rate", key, held_text, safe.rate))
    return tuple(found)


def _require_known(held: ControllerSettings) -> None:
    """Raise `ControllerError` for what neither the controller tells nor the machine's file states."""
    stated = {
        "steps_per_unit": ("steps per unit", held.stated.steps_per_unit),
        "rate": ("rate", held.stated.rate_units_per_min),
        "acceleration": ("acceleration", held.stated.acceleration_units_per_s2),
    }
    missing = {name: key for key, (name, value) in stated.items() if value is None and name in held.unreadable}
    if missing:
        keys = ", ".join(f"{STATED}{key}" for key in missing.values())
        raise ControllerError(
            f"does not tell its {', '.join(missing)}: state {keys} in the machine file as set in the controller, and "
            "confirm it on the machine"
        )


def require_fitting(machine: Machine, plan: JobPlan, held: ControllerSettings, *, fix: str) -> None:
    """Raise `SettingsMismatchError`, naming the command `fix`, when any setting differs."""
    found = settings_differences(machine, plan, held)
    if found and all(difference.key.startswith(STATED) for difference in found):
        fix = "set it on the controller by its own means, and state it in the machine file"
    if found:
        raise SettingsMismatchError(tuple(str(difference) for difference in found), fix)


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


def stored_scale(held: ControllerSettings, known: Fraction | None) -> StoredScale:
    """The steps-per-unit to plan with: exact if it is known, else the interval that the printed text leaves open."""
    if known is not None:
        return StoredScale.exactly(known)
    number = held.steps_per_unit
    return StoredScale(number.low, number.high)
