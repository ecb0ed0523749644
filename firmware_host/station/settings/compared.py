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
    """`needed`: what a run may not start with. `further`: what would be written with it. Both empty: all fits."""

    needed: tuple[Difference, ...]
    further: tuple[Difference, ...]
    looked_at: LookedAt


def compare_settings(machine: Machine, plan: JobPlan, controller: Controller, scales: KnownScales) -> Comparison:
    """What a run of `plan` would say of the settings as they are listed now. Moves and changes nothing.

    Raises as `settings_differences`, and as `Controller.status`.
    """
    found = settings_differences(machine, plan, controller.settings)
    if (start := start_difference(machine, plan, controller)) is not None:
        found = (*found, start)
    if (doubt := _scale_in_doubt(machine, plan, controller, scales)) is not None:
        found = (doubt, *found)
    changes = {change.key: change for change in settings_changes(machine, plan, controller, scales)}
    keys = {difference.key for difference in found}
    needed = tuple(_as_written(difference, changes.get(difference.key)) for difference in found)
    return Comparison(needed, tuple(c for c in changes.values() if c.key not in keys), LookedAt.of(controller))


def _as_written(difference: Difference, change: Difference | None) -> Difference:
    """`difference` with the text that will be written."""
    if change is None:
        return difference
    return Difference(difference.name, difference.key, difference.stored, change.wanted, change.note)


def _scale_in_doubt(machine: Machine, plan: JobPlan, controller: Controller, scales: KnownScales) -> Difference | None:
    """The steps-per-unit, where its print may be that of the right one, but leaves more open than a run can do with."""
    settings, wanted = controller.settings, safe_settings(machine, plan).scale
    number = settings.stored_steps_per_unit
    if number is None or settings.inches or not number.may_be(wanted):
        return None
    scale = stored_scale(settings, scales.recall(controller.url, settings))
    origin = round(machine.axis.sign * controller.position_steps(controller.status()))
    if _lands(machine, plan, controller, scale, origin) or not _lands(
        machine, plan, controller, StoredScale.exactly(wanted), origin
    ):
        return None
    told = f"{number.text}, which may be {_text(number.low)} to {_text(number.high)}"
    return Difference("steps per unit", settings.names.steps_per_unit, told, decimal_text(wanted))


def _text(value: Fraction) -> str:
    return f"{float(value):.9g}"


def _lands(machine: Machine, plan: JobPlan, controller: Controller, scale: StoredScale, origin: int) -> bool:
    """Whether every move of the plan surely lands on its step, begun at `origin` (machine steps)."""
    try:
        AxisMover(controller, controller.clock, plan.program, scale, origin, axis=machine.axis).prove()
    except PlanError:
        return False
    return True
