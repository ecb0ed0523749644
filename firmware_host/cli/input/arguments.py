"""Arguments that several commands take."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Any

import typer

from firmware_host.errors import InputError
from firmware_host.folders import stations_file
from firmware_host.reporting.measures import Units

_WHOLE_NUMBER = re.compile(r"[+-]?[0-9]{1,18}")


def whole_number(text: str | int) -> int:
    """The number of an option, written with the digits 0 to 9 and nothing between them."""
    if not _WHOLE_NUMBER.fullmatch(str(text)):
        raise typer.BadParameter(f"{text!r} is not a whole number, written with the digits 0 to 9")
    return int(text)


def whole(name: str, *, help: str, hidden: bool = False) -> Any:
    """An option that takes a whole number."""
    return typer.Option(name, parser=whole_number, metavar="INTEGER", help=help, hidden=hidden)


JobArgument = Annotated[str, typer.Argument(metavar="JOB", help="A job file (.toml), or the name of a job profile.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
PortOption = Annotated[
    str,
    typer.Option(
        "--port", help="Device path, socket:// or rfc2217:// URL (default: as `station` or the machine says)."
    ),
]
BaudOption = Annotated[
    int | None, whole("--baud", help="Line speed (default: the station's, else the machine file's).")
]
StationOption = Annotated[
    str,
    typer.Option("--station", metavar="NAME", help="Your station (default: where the machine stands; see `station`)."),
]
AcceptOption = Annotated[
    list[str] | None,
    typer.Option(
        "--accept-limit",
        metavar="NAME[=REASON]",
        help="Accept that this limit fails, or is not known; may be given again.",
    ),
]
DetailsOption = Annotated[bool, typer.Option("--details", help="Show every table behind the answer.")]


def _units(context: typer.Context, parameter: typer.CallbackParam, value: Units) -> Units:
    """The units that were said, else those of the station in use."""
    said = context.get_parameter_source(parameter.name or "")
    if said is None or said.name != "DEFAULT" or not stations_file().is_file():
        return value
    from firmware_host.model.files.stations import remembered_station  # only where a station is kept

    return Units(remembered_station().units)


UnitsOption = Annotated[
    Units,
    typer.Option(
        "--units",
        callback=_units,
        help="Units that people read: millimetres and newtons, or inches and pounds (default: as your station's).",
        show_default=False,
    ),
]
PartsOption = Annotated[
    Path | None,
    typer.Option(
        "--parts", metavar="FILE.csv", help='A table of parts, a line for each: columns "part.diameter mm" ...'
    ),
]


def require_one_form(*, csv: bool, json: bool) -> None:
    """Refuse both at once."""
    if csv and json:
        raise InputError("--csv and --json contradict each other", "Give one of them")
