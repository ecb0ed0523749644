"""What could refuse a run, looked at before any setting is written for it: then nothing is written in vain."""

from __future__ import annotations

from collections.abc import Mapping

from firmware_host.clock import Clock
from firmware_host.controller.controller import Controller
from firmware_host.controller.reply import AxisState
from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.station.axis_mover import AxisMover
from firmware_host.station.gates.gate import Gate
from firmware_host.station.settings.check import require_resolution, require_writable, safe_settings
from firmware_host.station.settings.real_move import plan_as_made
from firmware_host.station.zero import Start


def require_runnable(
    setup: Setup,
    plan: JobPlan,
    controller: Controller,
    gate: Gate,
    clock: Clock,
    start: Start,
    *,
    accepted: Mapping[str, str] | None = None,
) -> None:
    """Raise what the run would raise once the settings that it needs are written; moves nothing, writes nothing.

    Asked are: what is only stated of the controller, the gate, the state (a locked controller is refused, unless it
    homes first), readiness to move, how far reports tell a step, and whether every target can be reached from `start`
    with the steps per unit to be written. `accepted`: limits accepted besides the job's, with their reasons.
    """
    require_writable(setup.machine, plan, controller.settings)
    plan_as_made(setup, plan, controller, accepted, written=True)
    gate.attach(controller)
    allowed = {AxisState.READY, AxisState.LOCKED} if start.home else {AxisState.READY}
    status = controller.standing(allow=frozenset(allowed))
    if controller.settings.inches:
        return  # where it stands cannot be told until that is written
    if not start.home:
        controller.prepare()
        status = controller.status()
    scale = safe_settings(setup.machine, plan).scale
    require_resolution(controller.resolution_steps(status, scale))
    axis = setup.machine.axis
    here = 0 if start.home else round(axis.sign * controller.position_steps(status))
    origin = here if start.origin is None else start.origin
    program = plan.program
    exactly = StoredScale.exactly(scale)
    AxisMover(controller, clock, program, exactly, origin, start.at, axis=axis, turns=start.turns).prove()
