"""`station`: which machine stands at which port, with which gate and which units, under a name."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import replace
from typing import Annotated, Any

import typer
from pydantic import Field

from firmware_host.cli.input.arguments import JsonOption, whole
from firmware_host.cli.screen import documents, output
from firmware_host.errors import InputError
from firmware_host.folders import stations_file
from firmware_host.model.base import Described
from firmware_host.model.files.files import validate
from firmware_host.model.files.keeping import forget_station, keep_station, use_station
from firmware_host.model.files.stations import RememberedStation, gate_table, kept_stations
from firmware_host.model.job.gate import AnyGateOptions
from firmware_host.reporting.machines.stations import station_document, stations_document
from firmware_host.reporting.measures import Units

station_app = typer.Typer(no_args_is_help=True)


NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="What you call the station.")]
PortOption = Annotated[
    str | None, typer.Option("--port", help="Device path, socket:// or rfc2217:// URL (default: the machine file's).")
]
BaudOption = Annotated[int | None, whole("--baud", help="Line speed (default: the machine file's).")]
UnitsOption = Annotated[Units | None, typer.Option("--units", help="In what lengths are shown.")]
GateOption = Annotated[
    str | None,
    typer.Option("--gate", metavar="KIND", help="Gate for jobs that state none, like operator or tcp; none: no gate."),
]
GateValueOption = Annotated[
    list[str] | None,
    typer.Option("--gate-option", metavar="KEY=VALUE", help="A key of the gate, as in a job; may be given again."),
]
ProgramArgument = Annotated[
    list[str] | None,
    typer.Argument(metavar="[-- PROGRAM ...]", help="What a command gate starts for each pass, behind --."),
]


def _keeping(*, change: bool) -> Callable[..., None]:
    """The command that keeps a new station, or changes one."""

    def keep(
        name: NameArgument,
        program: ProgramArgument = None,
        machine: Annotated[str, typer.Option("--machine", help="Machine file or profile.")] = "",
        port: PortOption = None,
        baud: BaudOption = None,
        units: UnitsOption = None,
        gate: GateOption = None,
        gate_option: GateValueOption = None,
        json: JsonOption = False,
    ) -> None:
        if not (machine or change):
            problem, remedy = "which machine stands at the station is not said", "Name its file or profile"
            raise InputError(problem, remedy, key="--machine")
        before = kept_stations().named(name) if change else RememberedStation(name)
        said = _said(machine, port, baud, units) | _gate_said(before, gate, gate_option or [], program or [])
        _show(keep_station(replace(before, **said), change=change), json=json)

    return keep


station_app.command("new", help="Keep a station; the first one is the one in use. Opens no port, moves nothing.")(
    _keeping(change=False)
)
station_app.command("change", help="Change what is said, nothing else; an empty text, 0 or none takes a value away.")(
    _keeping(change=True)
)


@station_app.command("list")
def list_command(json: JsonOption = False) -> None:
    """List the stations, and say which one is in use."""
    found = kept_stations()
    documents.show(stations_document(found), json=json)
    if not found.by_name and not json:
        output.remark(f"no station is kept yet (they would stand in {stations_file()})")


@station_app.command("show")
def show_command(
    name: Annotated[str, typer.Argument(metavar="[NAME]", help="Which station (default: the one in use).")] = "",
    json: JsonOption = False,
) -> None:
    """Show a station."""
    found = kept_stations()
    chosen = name or found.in_use
    _show(found.named(chosen) if chosen else RememberedStation(), json=json)


@station_app.command("use")
def use_command(name: NameArgument, json: JsonOption = False) -> None:
    """Make a station the one in use: commands take it where none is named."""
    _show(use_station(name), json=json)


@station_app.command("forget")
def forget_command(name: NameArgument, json: JsonOption = False) -> None:
    """Take a station out of your file; runs and profiles stay."""
    documents.show(stations_document(forget_station(name)), json=json)


def _show(station: RememberedStation, *, json: bool) -> None:
    documents.show(station_document(station, in_use=kept_stations().in_use == station.name), json=json)
    if not json and station.name:
        output.remark(f"kept in {stations_file()}")


def _said(machine: str, port: str | None, baud: int | None, units: Units | None) -> dict[str, Any]:
    """What the options say of all but the gate."""
    said = {"machine": machine or None, "port": port, "units": units and units.value}
    return {key: value for key, value in said.items() if value is not None} | (
        {} if baud is None else {"baud": baud or None}
    )


def _gate_said(station: RememberedStation, kind: str | None, options: list[str], program: list[str]) -> dict[str, Any]:
    """What they say of the gate: with another kind the program goes, unless one is named."""
    said: dict[str, Any] = {}
    if kind is not None or options:
        said["gate"] = _gate(station, kind, options)
    if kind is not None or program:
        said["gate_program"] = tuple(program)
    return said


class _Gate(Described):
    """A gate by itself, to be checked like one in a file."""

    gate: AnyGateOptions = Field()


def _gate(station: RememberedStation, kind: str | None, options: list[str]) -> AnyGateOptions | None:
    """The gate that the options describe: another kind begins anew, keys are added to the one there is."""
    if kind == "none":
        return None
    table: dict[str, Any] = gate_table(station) if kind is None else {"kind": kind}
    for option in options:
        key, equals, value = option.partition("=")
        if not equals or not key.strip():
            raise InputError(f"{option[:100]!r} is no KEY=VALUE", 'Like timeout="10 min"', key="--gate-option")
        table[key.strip()] = _value(value)
    return validate(_Gate, {"gate": table}, source="--gate").gate


def _value(text: str) -> Any:
    """A value as it would stand in a file; a text needs no quotation marks."""
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except ValueError:
        return text


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.add_typer(station_app, name="station")
