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
from firmware_host.station.journal.journal import journal_events
from firmware_host.station.journal.last_position import AT_MACHINE_ZERO, LastPosition
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.journal.replay import left_by, replay
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.status import run_status_if_readable

ZeroAt = Literal["here", "last", "home"]
"""here: where the part stands now. last: where the last run had it, which must be proved. home: at the home switch."""


@dataclass(frozen=True)
class Start:
    """From where a run starts. `home`: it seeks the home switch first.

    `origin`: the zero in machine steps, None if it is set where the axis stands; `at`: where the axis stands from it,
    microsteps; `turns`: whole turns taken back since it was set.
    """

    home: bool = False
    origin: int | None = None
    at: int = 0
    turns: int = 0


@dataclass(frozen=True)
class ZeroDoubt:
    """Why it has to be said where the zero of a new run is.

    `run`: the folder of the last run at the port; `why`: how that run ended, and where it left the part. `unproved`:
    why its zero cannot be used again ("last"); empty if it can. `acts`: how to resume it; none if it is done, or
    unreadable.
    """

    run: str
    why: str
    unproved: str = ""
    acts: tuple[acts.Act, ...] = ()


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
) -> Start:
    """From where a run starts that has set no zero yet; moves nothing. `zero` says it.

    `last_run`: the folder of the last run at the port; `again`: the act that says where the zero is, for the errors.

    Unsaid, it is the home switch if there is one, and else where the part stands, unless `last_run` did not come to its
    end or left the part away from its zero: then `ask` is asked. Raises `ZeroNotSaidError` where nobody can be asked,
    `InputError` for a zero that does not exist, `ControllerError` for one that cannot be proved.
    """
    if zero is None:
        zero = "home" if setup.machine.axis.home_switch else "here"
        doubt = _doubt(setup, controller, last_run) if zero == "here" and last_run is not None else None
        if doubt is not None:
            zero = ask(doubt) if ask is not None else None
        if doubt is not None and zero is None:
            ways: tuple[ZeroAt, ...] = ("here",) if doubt.unproved else ("last", "here")
            raise ZeroNotSaidError(doubt.run, doubt.why, acts=(*doubt.acts, *map(again, ways)))
    if zero == "home":
        require_home_switch(setup.machine)
        return Start(home=True)
    return Start() if zero == "here" else _as_last(setup, controller, last_run, again)


@dataclass(frozen=True)
class _LastRun:
    """What the last run at the port left; `per_turn`: its microsteps in a turn of the part."""

    setup: Setup
    record: RunRecord
    left: LastPosition
    per_turn: Fraction

    @classmethod
    def read(cls, path: Path) -> _LastRun:
        """Read its folder. Raises `JournalError` or `InputError` where it isn't whole."""
        folder = RunFolder.existing(path)
        state, setup = replay(journal_events(folder.journal)), folder.load_setup()
        left = state.left if state.left is not None else left_by(journal_events(folder.journal), plan_job(setup).route)
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

    def zero_found(self, setup: Setup, controller: Controller) -> FoundAt:
        """Where the axis stands from its zero, for a job that shall use it again."""
        if self.left.origin is None:
            return FoundAt(0, "that run set no zero")
        before, now = self.setup.machine, setup.machine
        if _counting(before) != _counting(now):
            return FoundAt(0, "that run was of a machine that counts its steps otherwise")
        return found_as_left(controller, now.axis, self.left, self.left.origin)

    def how_it_ended(self, found: FoundAt) -> str:
        """How it ended, and where it left the part."""
        record = self.record
        because = f" ({record.reason})" if record.reason else ""
        ended = "did not come to its end" if record.outcome == "running" else f"is {record.outcome}{because}"
        done = f"{ended}, {record.done} of {len(record.passes)} passes {record.passes_word}"
        if found.unproved:
            return f"{done}; where the part stands now is not proved: {found.unproved}"
        return f"{done}; the part stands {360 * float(found.at / self.per_turn):.4g} deg from that run's zero"


def _counting(machine: Machine) -> tuple[str, int, Fraction]:
    """What makes a machine's steps comparable with another's."""
    return machine.axis.letter, machine.axis.sign, machine.steps_per_axis_unit


def _doubt(setup: Setup, controller: Controller, path: Path) -> ZeroDoubt | None:
    """Why the zero has to be said; None if the last run came to its end at its zero, or never set one."""
    try:
        last = _LastRun.read(path)
    except FirmwareHostError as error:
        return ZeroDoubt(_shown(path), f"cannot be read: {error}", "it cannot be read")
    if last.left.origin is None or last.at_its_zero:
        return None
    found = last.zero_found(setup, controller)
    status = run_status_if_readable(RunFolder(Path(_shown(path))))
    how = last.how_it_ended(found)
    return ZeroDoubt(_shown(path), how, found.unproved, status.acts if status is not None else ())


def _as_last(setup: Setup, controller: Controller, path: Path | None, again: Again) -> Start:
    """The zero of the last run at the port, once the controller's count proves it."""
    if path is None:
        problem = "no run is known that was the last one at this port"
        raise InputError(problem, "See that the part stands at the job's zero, and say here", key="zero")
    last = _LastRun.read(path)
    found = last.zero_found(setup, controller)
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
