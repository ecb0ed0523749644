"""At which station a job is run, or a controller asked: never one where another machine stands."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from firmware_host.errors import InputError
from firmware_host.model.files.loading import Setup, load_machine
from firmware_host.model.files.stations import RememberedStation, Stations, kept_stations, machine_file
from firmware_host.model.job.gate import CommandGateOptions, ExtensionGateOptions
from firmware_host.model.machine.machine import Machine
from firmware_host.system.ports import device_key


@dataclass(frozen=True)
class AtStation:
    """A machine and what it is reached with. What was asked for stands; the rest is the station's, if there is one.

    `station`: the station, with an empty name where none is taken; `port`: empty for the machine's own; `baud`: bits
    per second, None for the machine's. `taken`: what was taken from the station, a few words each. `warning`: that
    another machine stands at the port that was asked for; empty otherwise.
    """

    machine: Machine
    source: str
    station: RememberedStation
    port: str = ""
    baud: int | None = None
    taken: tuple[str, ...] = ()
    warning: str = ""


@dataclass(frozen=True)
class JobAtStation:
    """A job and what it is run with; fields as in `AtStation`.

    `setup` has the station's gate if the job states none; `gate_program`: what a command gate starts.
    """

    setup: Setup
    station: RememberedStation
    port: str = ""
    baud: int | None = None
    gate_program: tuple[str, ...] = ()
    taken: tuple[str, ...] = ()
    warning: str = ""


def machine_at_station(
    machine: str = "", *, station: str = "", port: str = "", baud: int | None = None, user: Path | None = None
) -> AtStation | None:
    """The machine that is asked for (its file or a profile's name), else the one at the port, else the station's.

    `station`, `port` and `baud` are what was asked for. None where neither a machine is named nor a station taken.
    Raises as `job_at_station`.
    """
    kept = kept_stations(user=user)
    if machine:
        described = load_machine(machine)
        return _at(described, machine, kept, _Asked(station, port, baud, "", user))
    at_port = [each for each in kept.by_name.values() if port and _same_port(each.port, port)]
    named = station or (kept.in_use if not port else at_port[0].name if at_port else "")
    if not named:
        return None
    source = str(machine_file(kept.named(named), user=user))
    return _at(load_machine(source), source, kept, _Asked(named, port, baud, "", user))


def setup_at_station(
    setup: Setup, *, station: str = "", port: str = "", baud: int | None = None, user: Path | None = None
) -> AtStation:
    """The machine of a job where it stands, whatever the gate. Raises as `job_at_station`."""
    asked = _Asked(station, port, baud, setup.job_source, user)
    return _at(setup.machine, setup.machine_source, kept_stations(user=user), asked)


def job_at_station(
    setup: Setup,
    *,
    station: str = "",
    port: str = "",
    baud: int | None = None,
    gate_program: tuple[str, ...] = (),
    own_gate: bool = False,
    anywhere: bool = False,
    user: Path | None = None,
) -> JobAtStation:
    """The station at which a job is run: the one that is asked for, else one where the job's machine stands.

    Of those the one in use comes first. Where a port is asked for, a station is taken only if it is that port's. What
    is asked for stands: `port`, `baud` (bits per second), `gate_program`; the job's own gate, too, if it states one, or
    with `own_gate`. `anywhere`: nothing real moves, so that no station is needed. `user`: another folder than the
    user's own. Raises `InputError` where another machine stands at the station, or at the port that the machine's file
    names; where several stations have the machine; as `kept_stations`.
    """
    asked = _Asked(station, port, baud, setup.job_source, user, anywhere)
    found = _at(setup.machine, setup.machine_source, kept_stations(user=user), asked)
    taken, chosen = list(found.taken), found.station
    if chosen.gate is not None and not own_gate and "gate" not in setup.job.model_fields_set:
        setup = replace(setup, job=setup.job.model_copy(update={"gate": chosen.gate}))
        taken.append(f"gate {chosen.gate.kind}")
    if not gate_program and isinstance(setup.job.gate, CommandGateOptions | ExtensionGateOptions):
        gate_program = chosen.gate_program
        taken += [f"program {gate_program[0]}"] if gate_program else []
    return JobAtStation(setup, chosen, found.port, found.baud, gate_program, tuple(taken), found.warning)


@dataclass(frozen=True)
class _Asked:
    """What was asked for; `job`: for which job's file, if for any; `anywhere`: whether it may be at no station."""

    station: str
    port: str
    baud: int | None
    job: str
    user: Path | None
    anywhere: bool = False


def _at(machine: Machine, source: str, kept: Stations, asked: _Asked) -> AtStation:
    """The machine at its station, if it has one."""
    standing = [each for each in kept.by_name.values() if _stands_at(each, machine, source, asked.user)]
    warning = ""
    if asked.station:
        chosen = _named(kept.named(asked.station), standing, source, asked)
    elif asked.port:
        chosen = _in_use(kept, [each for each in standing if _same_port(each.port or machine.link.port, asked.port)])
        others = [each for each in kept.by_name.values() if _same_port(each.port, asked.port)]
        if not chosen.name and others:
            warning = f"at this port stands {others[0].machine}, the machine of station {others[0].name}"
    else:
        chosen = _one_of(kept, standing, machine, source, asked)
    taken = [f"machine {chosen.machine}"] if chosen.name else []
    if chosen.port and not asked.port:
        taken.append(f"port {chosen.port}")
    if chosen.baud is not None and asked.baud is None:
        taken.append(f"{chosen.baud} baud")
    port, baud = asked.port or chosen.port, asked.baud if asked.baud is not None else chosen.baud
    return AtStation(machine, source, chosen, port, baud, tuple(taken), warning)


def _named(
    station: RememberedStation, standing: Iterable[RememberedStation], source: str, asked: _Asked
) -> RememberedStation:
    if station not in standing:
        raise _another_machine(station, source, asked)
    return station


def _one_of(
    kept: Stations, standing: list[RememberedStation], machine: Machine, source: str, asked: _Asked
) -> RememberedStation:
    """The station where the machine stands; an empty one if its own file names a port, or no station is kept."""
    chosen = _in_use(kept, standing)
    if chosen.name or not kept.by_name or asked.anywhere:
        return chosen
    if standing:
        from firmware_host.acts import ListStations

        names = ", ".join(each.name for each in standing)
        problem = f"this machine stands at several stations: {names}"
        raise InputError(problem, "Name one of them, or take one into use", source, acts=(ListStations(),))
    others = list(kept.by_name.values())
    if machine.link.port:
        others = [each for each in others if _same_port(each.port, machine.link.port)]
    if others:
        raise _another_machine(next((each for each in others if each.name == kept.in_use), others[0]), source, asked)
    return RememberedStation()


def _another_machine(station: RememberedStation, source: str, asked: _Asked) -> InputError:
    from firmware_host.acts import ListStations

    whose = "the job is for" if asked.job else "asked for is"
    return InputError(
        f"{whose} {source or 'a machine of its own'}, and at station {station.name} stands {station.machine}",
        "Name the port where the machine stands, or keep a station for it",
        source=asked.job,
        key="machine" if asked.job else "",
        acts=(ListStations(),),
    )


def _in_use(kept: Stations, standing: list[RememberedStation]) -> RememberedStation:
    """Of these stations the one in use, else the only one; an empty one if that leaves several or none."""
    in_use = [each for each in standing if each.name == kept.in_use]
    return in_use[0] if in_use else standing[0] if len(standing) == 1 else RememberedStation()


def _stands_at(station: RememberedStation, machine: Machine, source: str, user: Path | None) -> bool:
    """Whether the machine is the station's: by its file, or by all that is said of it."""
    path = machine_file(station, user=user)
    if source and path.resolve() == Path(source).resolve():
        return True
    try:
        return load_machine(str(path)) == machine
    except InputError:
        return False  # it is not the one that could be read


def _same_port(one: str, other: str) -> bool:
    return bool(one) and bool(other) and device_key(one) == device_key(other)
