"""Where a run's zero is: where the part stands, at the home switch, or where the last run at the port had it.

It is never taken silently where the part now stands after a run that did not come to its end, or that left the part
away from its zero: a second job would then begin there, into whatever keeps out of its way (a handle).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Literal

from firmware_host import acts
from firmware_host.controller.controller import Controller
from firmware_host.controller.reply import AxisState
from firmware_host.errors import ControllerError, FirmwareHostError, InputError, ZeroNotSaidError
from firmware_host.model import Machine, Setup
from firmware_host.model.machine.machine import Axis
from firmware_host.planning.plan import plan_job
from firmware_host.planning.steps import round_half_even
from firmware_host.station.hand_note import HandNote, counting
from firmware_host.station.journal.journal import journal_events
from firmware_host.station.journal.last_position import AT_MACHINE_ZERO, LastPosition
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.journal.replay import left_by, replay
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.status import run_status_if_readable

ZeroAt = Literal["here", "last", "home", "set"]
"""here: where the part stands now. last: where the last run had it. home: at the home switch. set: where it was set by
hand. The last run's and the hand's must be proved."""


@dataclass(frozen=True)
class Start:
    """From where a run starts. `home`: it seeks the home switch first.

    `origin`: the zero in machine steps, None if it is set where the axis stands; `at`: where the axis stands from it,
    microsteps; `turns`: whole turns taken back since it was set; `by_hand`: it was set by hand.
    """

    home: bool = False
    origin: int | None = None
    at: int = 0
    turns: int = 0
    by_hand: bool = False


@dataclass(frozen=True)
class ZeroDoubt:
    """Why it has to be said where the zero of a new run is.

    `run`: the folder of the last run at the port, "" where that is not what matters; `why`: how that run ended, and
    where it left the part, or what else is in doubt. `unproved`: why its zero, or the one set by hand, cannot be used;
    empty if it can, which is `known`: "last" or "set". `acts`: how to resume it; none if it is done, or unreadable.
    """

    run: str
    why: str
    unproved: str = ""
    acts: tuple[acts.Act, ...] = ()
    known: ZeroAt = "last"

    @property
    def ways(self) -> tuple[ZeroAt, ...]:
        """What can be said."""
        return ("here",) if self.unproved else (self.known, "here")


AskZero = Callable[[ZeroDoubt], ZeroAt]
Again = Callable[[ZeroAt], acts.Act]
"""What to do to say where the zero is."""


@dataclass(frozen=True)
class FoundAt:
    """Where the axis stands by the controller's count, in microsteps from a run's zero.

    `unproved`: why that is no proof that the part stands there, empty if it is; `reset`: the controller lost its count.
    """

    at: int
    unproved: str = ""
    reset: bool = False


def found_as_left(
    controller: Controller, axis: Axis, left: LastPosition, origin: int, *, opened: bool = False
) -> FoundAt:
    """Look whether the axis stands where a run left it, by the controller's own count; `origin`: that run's zero.

    It must stand at a place where the journal says that it stands, or on the way of the move that was begun, and
    nothing may hint at a reset: a board that was reset counts from zero. `opened`: the controller is open since before
    that run, and a reset would have been heard.
    """
    status = controller.status()
    at = axis.sign * round(controller.position_steps(status)) - origin
    if opened and controller.position_lost:
        return FoundAt(at, "the controller has lost its position", reset=True)
    if controller.greeting is not None and not opened:
        return FoundAt(at, "the controller was reset since", reset=True)
    if status.state not in (AxisState.READY, AxisState.HOLDING):
        return FoundAt(at, f"the controller is {status.state.value}", reset=True)
    if (delay_ms := controller.settings.release_delay_ms) is not None:
        return FoundAt(at, f"the motor is released {delay_ms} ms after a move", reset=True)
    if at + origin == 0 and not opened:
        return FoundAt(at, AT_MACHINE_ZERO, reset=True)
    if why := left.why_lost(stop_keeps_position=controller.capabilities.stop_keeps_position):
        return FoundAt(at, why)
    if not left.lowest <= at <= left.highest:
        where = f"{left.lowest} to {left.highest}"
        return FoundAt(at, f"it stands at microstep {at}, where the run did not leave it ({where})")
    return FoundAt(at)


def require_home_switch(machine: Machine) -> None:
    """Raise `InputError` for a zero at a home switch that the machine does not have."""
    if not machine.axis.home_switch:
        problem = "the zero cannot be at the home switch: this machine has none"
        raise InputError(problem, "Say here or last, or set axis.home_switch if it has one", key="zero")


def fresh_start(
    setup: Setup,
    controller: Controller,
    last_run: Path | None,
    zero: ZeroAt | None,
    *,
    ask: AskZero | None,
    again: Again,
    hand: HandNote | None = None,
) -> Start:
    """From where a run starts that has set no zero yet; moves nothing. `zero` says it.

    `last_run`: the folder of the last run at the port; `hand`: what a hand has left there since; `again`: the act that
    says where the zero is, for the errors.

    Unsaid, it is where a hand has set it for this job (or for any), if that is proved. Else it is the home switch if
    there is one, and else where the part stands, unless `last_run` did not come to its end or left the part away from
    its zero, or a hand has set a zero that is not this job's or not proved: then `ask` is asked. Raises
    `ZeroNotSaidError` where nobody can be asked, `InputError` for a zero that does not exist, `ControllerError` for one
    that cannot be proved.
    """
    if zero is None and hand is not None and hand.zero == "set" and hand.job in ("", setup.job.name):
        found = _set_found(setup, controller, hand)
        zero = "home" if found.unproved and setup.machine.axis.home_switch else None if found.unproved else "set"
    if zero is None:
        zero = "home" if setup.machine.axis.home_switch else "here"
        doubt = _doubt(setup, controller, last_run, hand) if zero == "here" else None
        if doubt is not None:
            zero = ask(doubt) if ask is not None else None
        if doubt is not None and zero is None:
            raise ZeroNotSaidError(doubt.run, doubt.why, acts=(*doubt.acts, *map(again, doubt.ways)))
    if zero == "home":
        require_home_switch(setup.machine)
        return Start(home=True)
    if zero == "set":
        return _as_set(setup, controller, hand, again)
    return Start() if zero == "here" else _as_last(setup, controller, last_run, hand, again)


def _set_found(setup: Setup, controller: Controller, hand: HandNote) -> FoundAt:
    """Where the axis stands from the zero that was set by hand."""
    if hand.counting != counting(setup.machine):
        return FoundAt(0, "it was set on a machine that counts its steps otherwise")
    return found_as_left(controller, setup.machine.axis, hand.left, hand.origin)


def _as_set(setup: Setup, controller: Controller, hand: HandNote | None, again: Again) -> Start:
    """The zero that was set by hand, once the controller's count proves it."""
    if hand is None or hand.zero != "set":
        problem = "no zero has been set by hand at this port since the last run"
        raise InputError(problem, "Set one, or say here for where the part stands", key="zero")
    found = _set_found(setup, controller, hand)
    if found.unproved:
        raise ControllerError(
            f"the zero that was set by hand cannot be used: {found.unproved}. Set it again, or see that the part "
            "stands at the job's zero and say so",
            acts=(again("here"),),
        )
    return Start(origin=hand.origin, at=found.at, by_hand=True)


def zero_left_open(last_run: Path | None, hand: HandNote | None) -> bool:
    """Whether a new run has to be told where its zero is, because of what was done at its port before.

    Asks no controller; `last_run` and `hand` as in `fresh_start`.
    """
    if hand is not None and hand.zero == "set":
        return True
    if last_run is None:
        return False
    try:
        return _LastRun.read(last_run, hand).leaves_zero_open
    except FirmwareHostError:
        return True


@dataclass(frozen=True)
class _LastRun:
    """What the last run at the port left; `per_turn`: its microsteps in a turn of the part."""

    setup: Setup
    record: RunRecord
    left: LastPosition
    per_turn: Fraction

    @classmethod
    def read(cls, path: Path, hand: HandNote | None) -> _LastRun:
        """Read its folder; `hand` has turned the part since. Raises `JournalError`, `InputError` if it isn't whole."""
        folder = RunFolder.existing(path)
        state, setup = replay(journal_events(folder.journal)), folder.load_setup()
        left = state.left if state.left is not None else left_by(journal_events(folder.journal), plan_job(setup).route)
        left = left if hand is None else hand.moved(left, setup.machine)
        return cls(setup, state.record, left, setup.machine.microsteps_per_part_turn(setup.job.part.contact))

    @property
    def at_its_zero(self) -> bool:
        """Whether it came to its end and left the part where it began, or whole turns on."""
        at = self.left.highest
        return (
            self.record.outcome == "done"
            and not self.left.lost
            and self.left.lowest == at
            and round_half_even(round(at / self.per_turn) * self.per_turn) == at
        )

    @property
    def leaves_zero_open(self) -> bool:
        """Whether a run after it has to be told where its zero is."""
        return self.left.origin is not None and not self.at_its_zero

    def zero_found(self, machine: Machine, controller: Controller) -> FoundAt:
        """Where the axis stands from its zero, for a job on `machine` that shall use it again."""
        if self.left.origin is None:
            return FoundAt(0, "that run set no zero")
        if counting(self.setup.machine) != counting(machine):
            return FoundAt(0, "that run was of a machine that counts its steps otherwise")
        return found_as_left(controller, machine.axis, self.left, self.left.origin)

    def how_it_ended(self, found: FoundAt) -> str:
        """How it ended, and where it left the part."""
        record = self.record
        because = f" ({record.reason})" if record.reason else ""
        ended = "did not come to its end" if record.outcome == "running" else f"is {record.outcome}{because}"
        done = f"{ended}, {record.done} of {len(record.passes)} passes {record.passes_word}"
        if found.unproved:
            return f"{done}; where the part stands now is not proved: {found.unproved}"
        return f"{done}; the part stands {360 * float(found.at / self.per_turn):.4g} deg from that run's zero"


def zero_of_last_run(machine: Machine, controller: Controller, path: Path | None) -> tuple[int | None, FoundAt]:
    """The zero (machine steps) of the last run at the port, and where the axis stands from it by the count.

    None where there is none: no run, one that set none, or one that can't be read.
    """
    try:
        last = None if path is None else _LastRun.read(path, None)
    except FirmwareHostError:
        last = None
    if last is None or last.left.origin is None:
        return None, FoundAt(0)
    return last.left.origin, last.zero_found(machine, controller)


def _doubt(setup: Setup, controller: Controller, path: Path | None, hand: HandNote | None) -> ZeroDoubt | None:
    """Why the zero has to be said; None if the last run came to its end at its zero, or never set one."""
    if hand is not None and hand.zero == "set":
        found = _set_found(setup, controller, hand)
        whose = f"for the job {hand.job!r}" if hand.job else "on this axis"
        unproved = f", and cannot be proved: {found.unproved}" if found.unproved else ""
        return ZeroDoubt("", f"a zero was set by hand {whose}{unproved}", found.unproved, known="set")
    if path is None:
        return None
    try:
        last = _LastRun.read(path, hand)
    except FirmwareHostError as error:
        return ZeroDoubt(_shown(path), f"cannot be read: {error}", "it cannot be read")
    if not last.leaves_zero_open:
        return None
    found = last.zero_found(setup.machine, controller)
    status = run_status_if_readable(RunFolder(Path(_shown(path))))
    how = last.how_it_ended(found) + (", turned there by hand" if hand is not None and not found.unproved else "")
    return ZeroDoubt(_shown(path), how, found.unproved, status.acts if status is not None else ())


def _as_last(setup: Setup, controller: Controller, path: Path | None, hand: HandNote | None, again: Again) -> Start:
    """The zero of the last run at the port, once the controller's count proves it."""
    if path is None:
        problem = "no run is known that was the last one at this port"
        raise InputError(problem, "See that the part stands at the job's zero, and say here", key="zero")
    last = _LastRun.read(path, hand)
    found = last.zero_found(setup.machine, controller)
    if found.unproved:
        raise ControllerError(
            f"the zero of the last run, {_shown(path)}, cannot be used again: {found.unproved}. See that the part "
            "stands at the job's zero, turn it there by hand if it doesn't, and say so",
            acts=(again("here"),),
        )
    return Start(origin=last.left.origin, at=found.at)


def _shown(path: Path) -> str:
    """A folder as it is typed from here."""
    here = Path.cwd()
    return str(path.relative_to(here) if path.is_relative_to(here) else path)
