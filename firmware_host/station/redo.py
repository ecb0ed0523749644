"""Redo: segments of an earlier run marked again on the part that is still clamped, as a run of its own."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Unpack

from firmware_host import acts
from firmware_host.clock import SystemClock
from firmware_host.errors import ControllerError, InputError, ZeroNotSaidError
from firmware_host.model import Setup
from firmware_host.planning.limits.accept import read_accepted
from firmware_host.planning.plan import JobPlan
from firmware_host.station.hand_note import since_a_hand
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.opened import StationOptions, station_in
from firmware_host.station.passes.choice import PassChoice, ranges_text
from firmware_host.station.passes.station import Station
from firmware_host.station.run import begin_run, require_limits
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.lineage import left_by_the_last, named_for
from firmware_host.station.runs.resumable import KeptRun
from firmware_host.station.stop_request import stopped_while
from firmware_host.station.zero import AskZero, Start, ZeroAt, ZeroDoubt, found_as_left, require_home_switch
from firmware_host.system.ports import port_key


@dataclass(frozen=True)
class Redo:
    """What is marked again: segments of the run `kept`, with its setup, its port and the limits accepted in it."""

    kept: KeptRun
    choice: PassChoice

    @classmethod
    def read(cls, run: Path | str, segments: str | Iterable[int], *, passes: int | None = None, port: str = "") -> Redo:
        """Read the folder of the earlier run; changes nothing.

        `segments` as `PassChoice.only`; `passes` of each, by default as many as that run had. Raises `InputError` for
        a segment that it does not have, and for another port than its own, `JournalError` for a run that is under way,
        damaged, or not as it began, `RunNotBegunError` where nothing was moved.
        """
        kept = KeptRun.read(RunFolder.existing(Path(run)))
        choice = PassChoice.only(segments, passes if passes is not None else kept.begin.passes)
        choice.of(kept.plan.segments.count, kept.begin.passes)
        found = cls(kept, choice)
        found.require_port(port)
        return found

    @property
    def port(self) -> str:
        """The port of the run."""
        return self.kept.begin.port

    def require_port(self, port: str) -> None:
        """Raise `InputError` for another port than that of the run; nothing where none is named."""
        if port and port_key(port) != port_key(self.port):
            problem = f"the run was at {self.port}, not at {port}: nothing is known there of where its part stands"
            raise InputError(problem, "Leave out the port, or run the job with some segments only", key="port")

    @property
    def setup(self) -> Setup:
        """Job and machine as they were when the run began."""
        return self.kept.setup

    @property
    def plan(self) -> JobPlan:
        """Its plan."""
        return self.kept.plan

    @property
    def accepted(self) -> tuple[str, ...]:
        """The limits that were accepted in the run, each "NAME=reason"."""
        found = self.kept.state.record.accepted
        return tuple(f"{name}={why}" if why else name for name, why in found.items())


@dataclass(frozen=True)
class RedoStation:
    """A redo with everything that it works with, open. `accepted`: limits accepted besides those of the run."""

    redo: Redo
    station: Station
    accepted: tuple[str, ...] = ()

    def run(self, *, zero: ZeroAt | None = None, ask_zero: AskZero | None = None) -> RunRecord:
        """Mark the segments again; returns the record of this run. Raises as `redo_run`."""
        return redo_run(self.redo, self.station, zero=zero, ask_zero=ask_zero, accept_limits=self.accepted)


@contextmanager
def open_redo(
    run: Path | str,
    segments: str | Iterable[int],
    *,
    passes: int | None = None,
    port: str = "",
    accept_limits: Iterable[str] = (),
    **options: Unpack[StationOptions],
) -> Iterator[RedoStation]:
    """Open the station of the run in the folder `run`, to mark `segments` of it again; all is closed at the end.

    A new run folder is made beside it, and is removed again if no run begins in it. What can't be done again is refused
    before the port is opened: raises as `Redo.read`, `LimitExceededError`, and as `open_controller`.
    """
    accepted = tuple(accept_limits)
    redo = Redo.read(run, segments, passes=passes, port=port)
    require_limits(redo.plan.limits, (*redo.accepted, *accepted))
    clock = options.get("clock") or SystemClock()
    folder = RunFolder.create(redo.kept.folder.path.resolve().parent, redo.setup.job.name, clock.now())
    with open_redo_in(folder, redo, accepted=accepted, **options) as station:
        yield station


@contextmanager
def open_redo_in(
    folder: RunFolder, redo: Redo, *, accepted: tuple[str, ...] = (), **options: Unpack[StationOptions]
) -> Iterator[RedoStation]:
    """As `open_redo`, of a run that was read before, in a run's new `folder`."""
    with ExitStack() as stack:
        stack.callback(folder.drop_unused)
        station = stack.enter_context(station_in(folder, redo.setup, redo.port, **options))
        yield RedoStation(redo, station, accepted)


def redo_run(
    redo: Redo,
    station: Station,
    *,
    zero: ZeroAt | None = None,
    ask_zero: AskZero | None = None,
    accept_limits: Iterable[str] = (),
) -> RunRecord:
    """Mark the segments again in the station's new folder; its journal names the run that they are of.

    The zero is that run's: the controller's count must prove that the axis stands where that run, or the last redo of
    it, left the axis. Where it doesn't, `ask_zero` is asked, and without it `ZeroNotSaidError` is raised. `zero` says
    it: "last" must be proved, "here" and "home" as in `run_job` ("set" is none of it). Raises as `run_job`.
    """
    with stopped_while("asking where the part stands"):
        start = _start(redo, station, zero, ask_zero)
    if start.origin is not None:
        station.progress.note(f"that run's zero is used again: the axis stands at microstep {start.at} from it")
    return begin_run(
        redo.setup,
        redo.plan,
        station,
        start,
        accepted=read_accepted((*redo.accepted, *accept_limits)),
        passes=redo.choice,
        redo_of=named_for(redo.kept.folder, station.folder),
    )


def _start(redo: Redo, station: Station, zero: ZeroAt | None, ask: AskZero | None) -> Start:
    """From where it starts; moves nothing."""
    machine = redo.setup.machine
    if zero == "set":
        raise InputError("a zero that was set by hand is not that run's", "Say last, here or home", key="zero")
    start, why = (None, "") if zero in ("here", "home") else _proved(redo, station, same_part=zero is None)
    if start is not None:
        return start
    if zero == "last":
        raise ControllerError(
            f"the zero of the run {redo.kept.folder.path} cannot be used again: it {why}. See that the part stands at "
            "the job's zero, turn it there by hand if it doesn't, and say so",
            acts=(_again(redo, station, "here"),),
        )
    run = str(redo.kept.folder.path)
    if zero is None and ask is not None:
        zero = ask(ZeroDoubt(run, why, why))
    if zero is None:
        ways: tuple[ZeroAt, ...] = ("home", "here") if machine.axis.home_switch else ("here",)
        raise ZeroNotSaidError("", f"the run {run} {why}", acts=tuple(_again(redo, station, way) for way in ways))
    if zero == "home":
        require_home_switch(machine)
    return Start(home=zero == "home")


def _proved(redo: Redo, station: Station, *, same_part: bool) -> tuple[Start | None, str]:
    """The zero of the run, if the controller's count proves it; else None, and why not. See `since_a_hand`."""
    axis, controller = redo.setup.machine.axis, station.controller
    left = left_by_the_last(redo.kept.folder, station.scales.last_run(controller.url, axis.letter))
    if left is None:
        return None, "is not the last run at this port, so that another part may be clamped now"
    if left.origin is None:
        return None, "set no zero"
    kept = station.scales.hand(controller.url, axis.letter)
    stands = since_a_hand(left, kept, redo.setup.machine, same_part=same_part)
    found = found_as_left(controller, axis, stands, left.origin)
    if found.unproved:
        return None, f"may have left the part elsewhere: {found.unproved}"
    return Start(origin=left.origin, at=found.at, turns=left.turns), ""


def _again(redo: Redo, station: Station, zero: ZeroAt) -> acts.Redo:
    choice = redo.choice
    return acts.Redo(
        str(redo.kept.folder.path),
        segments=ranges_text(choice.segments) if choice.segments is not None else f"{choice.first}-",
        passes=str(choice.passes) if choice.passes != redo.kept.begin.passes else "",
        zero=zero,
        without_marking=not station.gate.marks,
        release_motor=station.release_motor,
    )
