"""The move that the board really makes, as far as it is known, beside the one that was planned."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from firmware_host.controller.controller import Controller
from firmware_host.controller.stored_settings import FIX, WRITE, Difference, decimal_text
from firmware_host.errors import FirmwareHostError, LimitExceededError, PlanError, SettingsMismatchError
from firmware_host.model import Machine, Setup
from firmware_host.planning.as_made import MadeMotion, as_made
from firmware_host.planning.interrupt import Check, never
from firmware_host.planning.limits.accept import require_may_move
from firmware_host.planning.load.start import StartJump
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.route.controller_units import axis_units
from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.station.axis_mover import AxisMover
from firmware_host.station.settings.check import safe_settings

_ALLOWED = 1.01
"""A jump above the one that is written by no more is as good: boards print few decimals."""
_LEAST = Fraction(1, 1000)
"""The least that is written for a jump."""


def plan_as_made(
    setup: Setup,
    plan: JobPlan,
    controller: Controller,
    accepted: Mapping[str, str] | None = None,
    *,
    written: bool = False,
    check: Check = never,
) -> JobPlan:
    """The plan with the limits and the settling of what this board makes of its moves; see `as_made`.

    With the acceleration and the rate in force, and the start of a move as far as it is known; `written`: as they will
    be once the settings that the plan needs are written. Raises `LimitExceededError` where a limit holds as planned but
    not so (`accepted`: limits accepted besides the job's, with their reasons), as `require_may_move`, and as
    `require_step_rate`.
    """
    require_step_rate(plan, controller)
    made = made_motion(setup.machine, plan, controller, written=written)
    real = as_made(setup, plan, made, check)
    if real is plan:
        return plan
    try:
        require_may_move(real.limits.checks, accepted)
    except LimitExceededError as error:
        raise replace(error, details=(*error.details, _why(setup.machine, made, controller))) from error
    return real


def require_step_rate(plan: JobPlan, controller: Controller) -> None:
    """Raise `PlanError` where the plan asks for more steps per second than boards like this one were measured to make.

    Beyond that a board does not refuse: it loses steps, hangs, or starts anew.
    """
    known = controller.learned.highest_step_rate
    asked = plan.program.speed / (2 * math.pi) * float(plan.route.per_part_turn)
    if not known.known or asked <= known.value:
        return
    note = f" ({known.note})" if known.note else ""
    remedy = (
        f'State link.highest_step_rate = "{known.value / 1000:g} kHz": so many were measured on boards that answer so'
    )
    raise PlanError("steps of an index", asked, "steps/s", known.value, f"{remedy}{note}")


def made_motion(machine: Machine, plan: JobPlan, controller: Controller, *, written: bool = False) -> MadeMotion:
    """What the board makes of the plan's moves; `written` as in `plan_as_made`."""
    settings, learned = controller.settings, controller.learned
    scale = safe_settings(machine, plan).scale if written else settings.steps_per_unit.value
    unit = 1 / axis_units(1.0, plan.route.per_part_turn, scale)
    jump, wait_s = known_start(controller)
    if written and learned.start_jump_key.value in settings.raw:
        jump = min(jump, _allowed_jump(machine, plan, scale))
    step = 2 * math.pi / float(plan.route.per_part_turn)
    start = StartJump(max(unit * jump, step / wait_s if wait_s > 0 else 0.0), wait_s, step)
    if written:
        return MadeMotion(plan.program.speed, plan.program.acceleration, start)
    return MadeMotion(
        min(plan.program.speed, unit * float(settings.rate_units_per_min.value) / 60),
        unit * float(settings.acceleration_units_per_s2.value),
        start,
    )


def known_start(controller: Controller) -> tuple[float, float]:
    """(speed in units/s at which the board begins at once, s until its second step), 0 where that is not known."""
    jump, wait = controller.learned.start_jump_units_per_s, controller.learned.first_step_wait_s
    return (jump.value or 0.0) if jump.known else 0.0, wait.value if wait.known else 0.0


def start_difference(machine: Machine, plan: JobPlan, controller: Controller) -> Difference | None:
    """The start-speed jump, where it is a setting and more than a ramp of whole steps has anyhow; None where it fits.

    That is the speed that the ramp has after its first step, sqrt(2 a s): a jump to it leaves out no more than a step.
    More fits where the machine's file states it: then it was planned with.
    """
    settings, key = controller.settings, controller.learned.start_jump_key.value
    jump, _ = known_start(controller)
    if key is None or key not in settings.raw or not jump:
        return None
    allowed = _allowed_jump(machine, plan, safe_settings(machine, plan).scale)
    if jump <= allowed * _ALLOWED:
        return None
    wanted = max(Fraction(settings.raw[key]) * Fraction(allowed / jump), _LEAST)
    stored = f"{settings.raw[key]}, which begins each move at {jump:.4g} units/s at once"
    return Difference("start-speed jump", key, stored, decimal_text(wanted))


def require_start(machine: Machine, plan: JobPlan, controller: Controller, *, written: bool = False) -> None:
    """Raise `SettingsMismatchError` for a start-speed jump that is to be set lower first; see `start_difference`."""
    found = start_difference(machine, plan, controller)
    if found is None:
        return
    if written:
        raise SettingsMismatchError((str(found),), "see the controller's own documentation")
    raise SettingsMismatchError((str(found),), FIX, acts=WRITE)


def refusal(setup: Setup, plan: JobPlan, controller: Controller) -> FirmwareHostError | None:
    """Why a run of the plan would be refused here once its settings are written; None where it would not be.

    Because of a limit that the board's own moves don't keep, or of a place that it doesn't reach from where it stands.
    Moves and changes nothing; errors as `Controller.status`.
    """
    machine = setup.machine
    try:
        plan_as_made(setup, plan, controller, written=True)
        if not controller.settings.inches:
            scale = safe_settings(machine, plan).scale
            steps = 0.0 if machine.axis.home_switch else controller.position_steps(controller.status(), scale)
            origin, exactly = round(machine.axis.sign * steps), StoredScale.exactly(scale)
            AxisMover(controller, controller.clock, plan.program, exactly, origin, axis=machine.axis).prove()
    except (LimitExceededError, PlanError) as error:
        return error
    return None


def _allowed_jump(machine: Machine, plan: JobPlan, scale: Fraction) -> float:
    """The highest jump (units/s) that may be left: as stated, and so planned with, or as a ramp of whole steps has."""
    stated = machine.link.stated.start_jump
    units = machine.drive.axis_units_per_shaft_turn(machine.axis.unit) or Fraction(1)  # None: refused by the model
    planned = float(stated.exact * units) if stated is not None else 0.0
    acceleration = axis_units(plan.program.acceleration, plan.route.per_part_turn, scale)
    return max(planned, math.sqrt(2 * acceleration / float(scale)))


def _why(machine: Machine, made: MadeMotion, controller: Controller) -> str:
    """What the board does otherwise than planned, and what to state so that it is planned with."""
    jump, wait_s = known_start(controller)
    units = float(machine.drive.axis_units_per_shaft_turn(machine.axis.unit) or 1)
    stating = [f'link.stated.start_jump = "{360 * jump / units:.4g} deg/s"'] if jump else []
    stating += [f'link.stated.second_step_after = "{1e3 * wait_s:.4g} ms"'] if wait_s else []
    told = (
        f"this board begins its moves at {math.degrees(made.start.of(made.acceleration)):.4g} deg/s of the part at once"
    )
    if not stating:
        return "so it is with the acceleration and the rate that are in force: write the settings that the plan needs"
    return f"{told}: state {' and '.join(stating)} in the machine file, and it is planned with"
