"""Does the controller's own mind agree with the plan? If not: what differs, and the one command that fixes it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from firmware_host.controller.at_rest import HALF_STEP
from firmware_host.controller.settings import ControllerSettings, Difference, WantedSettings
from firmware_host.errors import CoordinateError, SettingsMismatchError
from firmware_host.model import Machine
from firmware_host.planning.controller_units import axis_units, floor_text
from firmware_host.planning.coordinates import HeldScale
from firmware_host.planning.plan import JobPlan

_THIRD_DECIMAL_HOLDS_BELOW = 1 << 14


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
    scale = HeldScale.as_written(machine.steps_per_axis_unit).middle
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


def differences(machine: Machine, plan: JobPlan, held: ControllerSettings) -> tuple[Difference, ...]:
    """Every stored setting that the run may not start with; `wanted` is the text to write under `key`."""
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
    if held.acceleration_units_per_s2.low >= Fraction(safe.acceleration):
        held_text = f"{held.acceleration_units_per_s2.text} units/s^2, above the highest safe one"
        found.append(Difference("acceleration", names.acceleration, held_text, safe.acceleration))
    if float(held.rate_units_per_min.value) > safe.highest_rate:
        held_text = f"{held.rate_units_per_min.text} units/min, more steps per second than can be made"
        found.append(Difference("rate", names.rate, held_text, safe.rate))
    return tuple(found)


def require_fitting(machine: Machine, plan: JobPlan, held: ControllerSettings, *, fix: str) -> None:
    """Raise `SettingsMismatchError`, naming the command `fix`, when any setting differs."""
    found = differences(machine, plan, held)
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


def held_scale(held: ControllerSettings, known: Fraction | None) -> HeldScale:
    """The steps-per-unit to plan with: exact if it is known, else the interval that the printed text leaves open."""
    if known is not None:
        return HeldScale.exactly(known)
    number = held.steps_per_unit
    return HeldScale(number.low, number.high)
