"""A hand opened on a machine: its controller, the gate closed, and the zero that can still be proved."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple, TypedDict, Unpack

from firmware_host.acts import Jog
from firmware_host.clock import Clock, SystemClock
from firmware_host.controller.controller import Controller
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.reply import AxisState
from firmware_host.errors import SettingsMismatchError
from firmware_host.model import Job, Machine, Setup
from firmware_host.planning.by_hand import HandPlan, hand_on_job, hand_on_machine
from firmware_host.planning.limits.accept import require_may_move
from firmware_host.station.axis_mover import AxisMover
from firmware_host.station.gates.gate import Gate, GateContext, build_gate, gate_kind
from firmware_host.station.hand.hand import Hand, Tools
from firmware_host.station.hand.marking import MarkingSide
from firmware_host.station.hand.paces import Paces
from firmware_host.station.hand.steps import length
from firmware_host.station.hand_note import HandJournal, HandNote, counting
from firmware_host.station.opening import open_controller, port_of
from firmware_host.station.operator import Operator, TerminalOperator
from firmware_host.station.settings.check import require_fitting, require_resolution, stored_scale
from firmware_host.station.settings.known_scale import KnownScales, state_folder
from firmware_host.station.settings.real_move import require_start
from firmware_host.station.settings.write import backup_path, kept_machine, write_for_plan
from firmware_host.station.stop_request import NOTHING_MOVED, StopRequest, stopped_while
from firmware_host.station.zero import found_as_left, zero_of_last_run

WAS_LOCKED = "the controller was locked"
MOVED_SINCE = "it was turned by hand, and the controller did not keep its count"
Announce = Callable[[Path], None]


class HandOptions(TypedDict, total=False):
    """How a hand is opened; what is left out is as the command line has it.

    `diameter`: of the part where no job says it, with its unit; `stop`: what every wait looks at; `write_settings`:
    first store the settings that the hand needs, the old ones kept in a file that this is told of; `baud`: bits per
    second, else the machine file's; `source`: the file or profile that a machine was read from; `marking`: what a job's
    gate needs that is to be opened, None where it only stays closed. `unlock`: a locked controller is unlocked, for
    whoever seeks its home switch before anything else.
    """

    clock: Clock | None
    diameter: str
    stop: StopRequest | None
    write_settings: Announce | None
    baud: int | None
    source: str
    scales: KnownScales | None
    operator: Operator | None
    marking: MarkingSide | None
    unlock: bool


@contextmanager
def open_hand(described: Setup | Machine, port: str = "", **options: Unpack[HandOptions]) -> Iterator[Hand]:
    """Open a hand on a job's part (a setup), or on whatever part is in a machine, at `port` (empty: the machine's own).

    Nothing moves until a method of the hand moves it. With a job no move is quicker than the job's; without one the
    part counts as the heaviest that the motor can turn. The job's gate is closed before anything moves. If the block is
    left by an error while the axis is under way, it is stopped first.

    Raises `LimitExceededError` before anything is opened where no motion is safe, `SettingsMismatchError` where the
    controller could be quicker than that, and as `open_controller`; `StoppedError` where a stop was asked for.
    """
    stop = options.get("stop") or StopRequest()
    machine = described.machine if isinstance(described, Setup) else described
    left = NOTHING_MOVED
    with stopped_while("turning the part by hand", left=lambda: left):
        plan = plan_of_hand(described, options, stop)
        require_may_move(plan.plan.limits.checks)
        with ExitStack() as stack:
            hand = _opened(stack, plan, port_of(machine, port), options, stop)
            try:
                yield hand
            except BaseException as error:
                left = hand.stop(error)
                raise


def plan_of_hand(described: Setup | Machine, options: HandOptions, stop: StopRequest) -> HandPlan:
    """By what a hand turns the part of a job, or whatever is in a machine; errors as `hand_on_job`."""
    if isinstance(described, Setup):
        return hand_on_job(described, stop.check)
    said = options.get("diameter", "")
    diameter = length(said, key="diameter") if said else None
    return hand_on_machine(described, diameter, source=options.get("source", ""), check=stop.check)


def _opened(stack: ExitStack, plan: HandPlan, url: str, options: HandOptions, stop: StopRequest) -> Hand:
    clock, machine = options.get("clock") or SystemClock(), plan.machine
    scales = options.get("scales") or KnownScales(state_folder())
    controller = open_controller(machine, url, clock, MemoryTrace(clock), baud=options.get("baud"), check=stop.check)
    stack.callback(controller.close)
    announce, paces = options.get("write_settings"), None
    if announce is not None:
        backup = backup_path(state_folder() / "backups", controller.url, clock)
        source = plan.setup.machine_source or options.get("source", "")
        baud = options.get("baud")
        write_for_plan(machine, plan.plan, controller, scales, backup, announce=announce, source=source, baud=baud)
        kept = kept_machine(machine, source, baud)
        later = backup_path(state_folder() / "backups", controller.url, clock)
        paces = Paces(controller, plan, scales, later, announce=announce, machine=kept)
        stack.callback(paces.put_back)
    operator, marking, unlock = options.get("operator"), options.get("marking"), options.get("unlock", False)
    return hand_at(stack, plan, controller, clock, scales, stop, operator, marking, unlock=unlock, paces=paces)


def hand_at(
    stack: ExitStack,
    plan: HandPlan,
    controller: Controller,
    clock: Clock,
    scales: KnownScales,
    stop: StopRequest,
    operator: Operator | None = None,
    marking: MarkingSide | None = None,
    *,
    unlock: bool = False,
    paces: Paces | None = None,
) -> Hand:
    """A hand at a controller that is open; the gate is released with `stack`. Raises as `open_hand`.

    `paces`: what lets single moves have an acceleration of their own; None: none may.
    """
    machine = plan.machine
    _require_fitting(plan, controller)
    gate = _closed_gate(stack, plan, controller, GateContext(clock, operator or TerminalOperator()), marking)
    unlocked = unlock and controller.status().state is AxisState.LOCKED
    if unlocked:
        controller.unlock()
    controller.prepare()
    if gate is not None:
        gate.close()
    require_resolution(controller.resolution_steps(controller.status()))
    letter = machine.axis.letter
    known = scales.recall(controller.url, controller.settings)
    found = _found(plan, controller, scales, unlocked=unlocked)
    mover = AxisMover(
        controller,
        clock,
        plan.plan.program,
        stored_scale(controller.settings, known),
        found.note.origin,
        found.at,
        axis=machine.axis,
        check=stop.check,
    )
    journal = HandJournal(
        found.note, lambda note: scales.remember_hand(controller.url, letter, note.model_dump(mode="json"))
    )
    opens = gate if marking is not None else None
    return Hand(Tools(controller, plan, clock, mover, journal, stop, gate, opens, paces), wished=found.at)


def _require_fitting(plan: HandPlan, controller: Controller) -> None:
    try:
        require_fitting(plan.machine, plan.plan, controller.settings)
        require_start(plan.machine, plan.plan, controller)
    except SettingsMismatchError as error:
        if not plan.of_job and error.acts:
            error.acts = (Jog(write_settings=True),)
        raise


def _closed_gate(
    stack: ExitStack, plan: HandPlan, controller: Controller, context: GateContext, marking: MarkingSide | None
) -> Gate | None:
    """The job's gate, where it could be open without a run, or is meant to be opened (`marking`)."""
    job: Job = plan.setup.job
    if not plan.of_job:
        return None
    if marking is not None:
        context = replace(context, program=marking.program, folder=marking.folder)
    elif not gate_kind(job.gate).stays_open:
        return None
    gate = build_gate(job.gate, replace(context, job=job.name))
    stack.callback(gate.release)
    gate.attach(controller)
    return gate


class _Found(NamedTuple):
    """What is known when a hand is opened: the note it begins with, and where the axis stands by it."""

    note: HandNote
    at: int


def _found(plan: HandPlan, controller: Controller, scales: KnownScales, *, unlocked: bool) -> _Found:
    """The zero of the hand before, or of the last run, if the controller's count proves it; else where it stands."""
    machine, letter, url = plan.machine, plan.machine.axis.letter, controller.url
    here = round(machine.axis.sign * controller.position_steps(controller.status()))
    anew = HandNote(counting=counting(machine), origin=here, zero="none")
    if unlocked:
        return _Found(anew.model_copy(update={"run_lost": WAS_LOCKED}), 0)
    before = HandNote.read(scales.hand(url, letter))
    if before is not None:
        found = found_as_left(controller, machine.axis, before.left, before.origin)
        if before.counting == anew.counting and not found.unproved:
            places = {"lowest": found.at, "highest": found.at, "moving": False}
            return _Found(before.model_copy(update=places), found.at)
        why = before.run_lost or found.unproved or MOVED_SINCE
        return _Found(anew.model_copy(update={"run_lost": why}), 0)
    origin, found = zero_of_last_run(machine, controller, scales.last_run(url, letter))
    if origin is None:
        return _Found(anew, 0)
    if found.unproved:
        return _Found(anew.model_copy(update={"run_lost": found.unproved}), 0)
    note = anew.model_copy(update={"origin": origin, "zero": "last", "lowest": found.at, "highest": found.at})
    return _Found(note, found.at)
