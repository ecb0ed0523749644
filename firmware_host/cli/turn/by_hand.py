"""What `jog` and `align` share: opening a hand as the command line has it, and a person at its keys."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from typing import Annotated

import typer

from firmware_host.acts import Jog, Measure
from firmware_host.cli.input.at_station import job_at, machine_at
from firmware_host.cli.input.planned import loaded
from firmware_host.cli.screen import output
from firmware_host.cli.screen.advice import completing_acts
from firmware_host.cli.screen.hand_screen import TerminalScreen
from firmware_host.errors import InputError, SettingsMismatchError, StoppedError
from firmware_host.model import Machine, Setup
from firmware_host.model.files.at_station import machine_at_station
from firmware_host.reporting.machines.hand import CAUTION
from firmware_host.station.hand.hand import Hand
from firmware_host.station.hand.line import ControllerLine, open_line
from firmware_host.station.hand.marking import MarkingSide
from firmware_host.station.hand.opened import HandOptions, open_hand
from firmware_host.station.hand.places import Place
from firmware_host.station.hand.session import Session
from firmware_host.station.opening import port_of
from firmware_host.station.stop_request import StopRequest
from firmware_host.system.keys import Keys, single_keys

WriteSettingsOption = Annotated[
    bool,
    typer.Option("--write-settings", help="First write the settings that this needs; the old ones are kept."),
]
ByOption = Annotated[
    str, typer.Option("--by", metavar="STEP", help='Turn by "15 deg", "5 mm" of the surface or "3 microsteps".')
]
ToOption = Annotated[str, typer.Option("--to", metavar="ANGLE", help='Turn to an angle from the zero: "90 deg".')]


@dataclass(frozen=True)
class Described:
    """What is turned: a job or a machine, the file or name it was read from, and where it stands."""

    what: Setup | Machine
    source: str
    port: str
    baud: int | None
    gate_program: tuple[str, ...] = ()

    @property
    def machine(self) -> Machine:
        """The machine."""
        return self.what.machine if isinstance(self.what, Setup) else self.what


def job_here(
    job: str,
    accept: Sequence[str] | None,
    *,
    station: str,
    port: str,
    baud: int | None,
    gate_program: tuple[str, ...] = (),
    told: bool = True,
) -> Described:
    """A job at its station; `gate_program`: what its gate starts, where the gate is opened; `told`: which station."""
    here = job_at(loaded(job, accept), station=station, port=port, baud=baud, gate_program=gate_program, told=told)
    return Described(here.setup, job, port_of(here.setup.machine, here.port), here.baud, here.gate_program)


def machine_here(machine: str, *, station: str, port: str, baud: int | None, told: bool = True) -> Described:
    """A machine at its station; the station's where none is named. Raises `InputError` without either."""
    if not machine and machine_at_station(station=station, port=port) is None:
        raise InputError("it is not said what to turn", "Name a job or a machine, or keep a station")
    here = machine_at(machine, station=station, port=port, baud=baud, otherwise=machine, told=told)
    return Described(here.machine, machine or here.source, port_of(here.machine, here.port), here.baud)


@contextmanager
def hand_for(
    described: Described,
    again: Jog | Measure,
    *,
    write_settings: bool,
    marking: MarkingSide | None = None,
    unlock: bool = False,
    caution: bool = True,
) -> Iterator[Hand]:
    """A hand opened as the command line has it; Ctrl-C and the like stop the axis and end the command.

    `caution`: whether what turns is cautioned about here.
    """
    for line in CAUTION if caution else ():
        output.remark(line)
    with (
        _stopped_by_signals(described, again) as stop,
        open_hand(
            described.what,
            described.port,
            stop=stop,
            baud=described.baud,
            diameter=again.diameter,
            source=described.source,
            write_settings=output.announce_backup if write_settings else None,
            marking=marking,
            unlock=unlock,
        ) as hand,
    ):
        yield hand


@contextmanager
def line_for(described: Described, again: Jog | Measure) -> Iterator[ControllerLine]:
    """The controller, opened only to be asked; the rest as `hand_for`."""
    options: HandOptions = {"baud": described.baud, "diameter": again.diameter, "source": described.source}
    with (
        _stopped_by_signals(described, again) as stop,
        open_line(described.what, described.port, {**options, "stop": stop}) as line,
    ):
        yield line


def called_with(described: Described, again: Jog | Measure) -> dict[str, str]:
    """What the command was called with, for acts that leave it open."""
    machine = described.what.machine_source if isinstance(described.what, Setup) else described.source
    said = {"of": described.source, "job": described.source, "machine": machine, "port": described.port}
    return {each.name: str(getattr(again, each.name)) for each in fields(again) if each.type == "str"} | said


@contextmanager
def _stopped_by_signals(described: Described, again: Jog | Measure) -> Iterator[StopRequest]:
    stop = StopRequest()
    with completing_acts(**called_with(described, again)), stop.on_signals():
        try:
            yield stop
        except StoppedError as error:
            error.acts = error.acts or (again,)
            raise
        except SettingsMismatchError as error:
            error.acts = tuple(
                replace(again, write_settings=True) if isinstance(act, Jog) else act for act in error.acts
            )
            raise


@contextmanager
def keys_here(otherwise: str) -> Iterator[Keys]:
    """The keys of the person at the terminal. Raises `InputError` without one; `otherwise`: what can be said then."""
    with single_keys(sys.stdin) as keys:
        if keys is None:
            raise InputError("nobody can press keys here: standard input is no terminal", otherwise)
        yield keys


def turned(hand: Hand, *, by: str, to: str) -> None:
    """Turn as the options say."""
    if by and to:
        raise InputError("--by and --to exclude each other", "Leave out one of them", key="--by")
    if by:
        hand.turn_by(by)
    if to:
        hand.turn_to(to)
    if hand.went_round:
        output.remark(hand.went_round)


def at_keys(hand: Hand, keys: Keys, places: Sequence[Place] = ()) -> bool:
    """Let the person turn the part; whether a place was confirmed."""
    screen = TerminalScreen()
    session = Session(hand, keys, screen, places)
    try:
        session.run()
    finally:
        screen.leave()
    return session.confirmed
