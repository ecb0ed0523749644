"""The controller's settings beside those that a job needs, as a run will find them; and which were looked at."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from firmware_host.controller.controller import Controller
from firmware_host.controller.stored_settings import Difference, decimal_text
from firmware_host.errors import PlanError
from firmware_host.model import Machine
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.station.axis_mover import AxisMover
from firmware_host.station.settings.check import safe_settings, settings_differences, stored_scale
from firmware_host.station.settings.known_scale import KnownScales
from firmware_host.station.settings.real_move import start_difference
from firmware_host.station.settings.write import settings_changes


class LookedAt(Enum):
    """Which of the two sets of settings a comparison is about."""

    BOTH = "in force and stored"
    IN_FORCE = "in force"
    STORED = "stored"

    @classmethod
    def of(cls, controller: Controller) -> LookedAt:
        """What the settings are that `controller` has just listed."""
        if controller.as_stored:
            return cls.BOTH
        return cls.STORED if controller.lists_stored else cls.IN_FORCE


@dataclass(frozen=True)
class Comparison:
    """`needed`: what a run may not start with. `further`: what would be written with it. Both empty: all fits.

    `refusal`: why a run that is begun where the axis stands is refused whatever the settings are; "" if it isn't.
    """

    needed: tuple[Difference, ...]
    further: tuple[Difference, ...]
    looked_at: LookedAt
    refusal: str = ""


def compare_settings(machine: Machine, plan: JobPlan, controller: Controller, scales: KnownScales) -> Comparison:
    """What a run of `plan` would say of the settings as they are listed now. Moves and changes nothing.

    Raises as `settings_differences`, and as `Controller.status`.
    """
    found = settings_differences(machine, plan, controller.settings)
    if (start := start_difference(machine, plan, controller)) is not None:
        found = (*found, start)
    refusal = ""
    if not controller.settings.inches:  # in which no position can be told
        origin = round(machine.axis.sign * controller.position_steps(controller.status()))
        wanted = StoredScale.exactly(safe_settings(machine, plan).scale)
        refusal = _refusal(machine, plan, controller, wanted, origin)
        if not refusal and (doubt := _scale_in_doubt(machine, plan, controller, scales, origin)) is not None:
            found = (doubt, *found)
    changes = {change.key: change for change in settings_changes(machine, plan, controller, scales)}
    keys = {difference.key for difference in found}
    needed = tuple(_as_written(difference, changes.get(difference.key)) for difference in found)
    further = tuple(change for change in changes.values() if change.key not in keys)
    return Comparison(needed, further, LookedAt.of(controller), refusal)


def _as_written(difference: Difference, change: Difference | None) -> Difference:
    """`difference` with the text that will be written."""
    if change is None:
        return difference
    return Difference(difference.name, difference.key, difference.stored, change.wanted, change.note)


def _scale_in_doubt(
    machine: Machine, plan: JobPlan, controller: Controller, scales: KnownScales, origin: int
) -> Difference | None:
    """The steps-per-unit, where its print may be that of the right one, but leaves more open than a run can do with."""
    settings, wanted = controller.settings, safe_settings(machine, plan).scale
    number = settings.stored_steps_per_unit
    if number is None or not number.may_be(wanted):
        return None
    scale = stored_scale(settings, scales.recall(controller.url, settings))
    if not _refusal(machine, plan, controller, scale, origin):
        return None
    told = f"{number.text}, which may be {_text(number.low)} to {_text(number.high)}"
    return Difference("steps per unit", settings.names.steps_per_unit, told, decimal_text(wanted))


def _text(value: Fraction) -> str:
    return f"{float(value):.9g}"


def _refusal(machine: Machine, plan: JobPlan, controller: Controller, scale: StoredScale, origin: int) -> str:
    """Why the moves of the plan can't be made with `scale` from `origin` (machine steps); "" if they surely can."""
    try:
        AxisMover(controller, controller.clock, plan.program, scale, origin, axis=machine.axis).prove()
    except PlanError as error:
        return str(error)
    return ""
