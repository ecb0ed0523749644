"""What a command takes from a station that is kept; each time it is told in one line."""

from __future__ import annotations

from firmware_host.cli.screen import output
from firmware_host.model import Setup
from firmware_host.model.files.at_station import (
    AtStation,
    JobAtStation,
    job_at_station,
    machine_at_station,
    setup_at_station,
)


def job_at(
    setup: Setup,
    *,
    station: str,
    port: str,
    baud: int | None,
    gate_program: tuple[str, ...] = (),
    own_gate: bool = False,
    anywhere: bool = False,
    told: bool = True,
) -> JobAtStation:
    """`job_at_station`; what is taken is told on standard error, if `told`."""
    found = job_at_station(
        setup,
        station=station,
        port=port,
        baud=baud,
        gate_program=gate_program,
        own_gate=own_gate,
        anywhere=anywhere,
    )
    if told:
        _tell(found)
    return found


def setup_at(setup: Setup, *, station: str, port: str, baud: int | None) -> AtStation:
    """`setup_at_station`, told as well."""
    found = setup_at_station(setup, station=station, port=port, baud=baud)
    _tell(found)
    return found


def machine_at(
    machine: str, *, station: str, port: str, baud: int | None, otherwise: str, told: bool = True
) -> AtStation:
    """`machine_at_station`, told as well; the machine `otherwise` where none is named and no station is taken."""
    found = machine_at_station(machine, station=station, port=port, baud=baud)
    if found is None:
        found = machine_at_station(otherwise, port=port, baud=baud)
    if found is None:
        raise RuntimeError("a machine was named")
    if told:
        _tell(found)
    return found


def _tell(found: AtStation | JobAtStation) -> None:
    if found.warning:
        output.remark(f"warning: {found.warning}", style="yellow")
    if found.taken:
        output.remark(f"at station {found.station.name}: {', '.join(found.taken)}")
