"""What a user keeps of each station: which machine stands at which port, with which gate, in which units.

One file of the user's own, `stations.toml` beside the profiles; only the functions here and the user's editor write it.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from firmware_host.errors import InputError, MissingFileError, UnreadableFileError
from firmware_host.folders import shipped_folder, stations_file, user_folder
from firmware_host.model.base import Described, Version, contradiction
from firmware_host.model.files.files import validate
from firmware_host.model.files.profiles import is_path
from firmware_host.model.job.gate import AnyGateOptions, CommandGateOptions, ExtensionGateOptions
from firmware_host.system.files import others_may_write, read_regular
from firmware_host.system.parsing import parse_toml, utf8_text

LARGEST_STATIONS = 100_000
"""Largest file read, bytes."""

NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}")
"""What a station may be called."""

Units = Literal["metric", "inch"]
_Word = Annotated[str, StringConstraints(min_length=1, max_length=1000)]


class StationTable(Described):
    """A station as its table in the file has it."""

    machine: str = Field(
        min_length=1, max_length=1000, description="name of a machine profile, or whole path of a file"
    )
    port: str = Field(default="", max_length=200, description="device path or URL; left out: link.port of the machine")
    baud: int | None = Field(default=None, ge=1, le=100_000_000, description="bits per second; else the machine's")
    units: Units = Field(default="metric", description="in what lengths are shown")
    gate: AnyGateOptions | None = Field(default=None, description="for jobs that state no gate of their own")
    gate_program: tuple[_Word, ...] = Field(
        default=(), max_length=100, strict=False, description="what a command gate starts: program and arguments"
    )

    @model_validator(mode="after")
    def _program_is_started(self) -> Self:
        starts = self.gate is None or isinstance(self.gate, CommandGateOptions | ExtensionGateOptions)
        if self.gate_program and not starts:
            raise contradiction("gate_program", f"the gate {self.gate.kind if self.gate else ''} starts no program")
        return self


class StationsFile(Described):
    """The whole file. `use`: the station that a command takes when none is named."""

    version: Version
    use: str = ""
    stations: dict[str, StationTable] = Field(default={})

    @model_validator(mode="after")
    def _names_are_names(self) -> Self:
        for name in self.stations:
            if not NAME.fullmatch(name):
                raise contradiction(f"stations.{name[:100]}", "is no name: letters, digits, dots and dashes")
        if self.use and self.use not in self.stations:
            raise contradiction("use", f"there is no station {self.use[:100]!r}")
        return self


@dataclass(frozen=True)
class RememberedStation:
    """A station by name; empty throughout (and metric) where none is kept.

    `machine`: name of a profile or path of a file; `port`: empty for the machine's own; `baud`: bits per second, None
    for the machine's; `gate`: for jobs that state none; `gate_program`: what a command gate starts.
    """

    name: str = ""
    machine: str = ""
    port: str = ""
    baud: int | None = None
    gate: AnyGateOptions | None = None
    gate_program: tuple[str, ...] = ()
    units: Units = "metric"


@dataclass(frozen=True)
class Stations:
    """All stations that are kept, by name in the order of the file, and the name of the one in use (empty: none is).

    One that is alone is in use.
    """

    by_name: Mapping[str, RememberedStation]
    in_use: str = ""

    def named(self, name: str) -> RememberedStation:
        """The station of this name. Raises `InputError`, naming the nearest."""
        if name in self.by_name:
            return self.by_name[name]
        from firmware_host.acts import ListStations

        close = difflib.get_close_matches(name, self.by_name, n=1, cutoff=0.4)
        hint = f"Did you mean {close[0]!r}?" if close else "Name one that is kept, or keep it first"
        raise InputError("no station has this name", hint, source=name[:100], acts=(ListStations(),))


def gate_table(station: RememberedStation) -> dict[str, Any]:
    """What the gate's table in the file holds, its kind first; empty where the station has none."""
    if station.gate is None:
        return {}
    stated = station.gate.model_dump(mode="json", exclude_unset=True, exclude_none=True)
    return {"kind": station.gate.kind} | stated


def machine_file(station: RememberedStation, *, user: Path | None = None) -> Path:
    """The file of the station's machine: what lies in the current folder counts for nothing. It need not be there."""
    if is_path(station.machine):
        return Path(station.machine)
    own = (user or user_folder()) / "machines" / f"{station.machine}.toml"
    return own if own.is_file() else shipped_folder() / "machines" / own.name


def kept_stations(*, user: Path | None = None) -> Stations:
    """All stations that are kept; none where there is no file.

    Raises `InputError` for a file that is not right; `UnreadableFileError` where it names a gate's program and somebody
    else could have written it, as far as the system tells.
    """
    path = stations_file(user=user)
    try:
        text = read_stations(path)
    except MissingFileError:
        return Stations({})
    return checked_stations(text, path)


def remembered_station(name: str = "", *, user: Path | None = None) -> RememberedStation:
    """The station of this name, or the one in use; empty where none is kept or in use. Raises as `kept_stations`."""
    found = kept_stations(user=user)
    chosen = name or found.in_use
    return found.named(chosen) if chosen else RememberedStation()


def read_stations(path: Path) -> str:
    """The text of the file. Raises `MissingFileError` and as `read_regular`."""
    return utf8_text(read_regular(path, LARGEST_STATIONS), str(path))


def checked_stations(text: str, path: Path) -> Stations:
    """What the text of the file at `path` holds. Raises as `kept_stations`."""
    found = stations_of(text, path)
    if any(each.gate_program for each in found.by_name.values()):
        _require_own(path)
    return found


def stations_of(text: str, path: Path) -> Stations:
    """The same without a look at who may write the file."""
    tables = parse_toml(text, str(path))
    if not tables:
        return Stations({})
    whole = validate(StationsFile, tables, source=str(path), text=text)
    found = {name: _station(name, table) for name, table in whole.stations.items()}
    return Stations(found, whole.use or (next(iter(found)) if len(found) == 1 else ""))


def _station(name: str, table: StationTable) -> RememberedStation:
    values: dict[str, Any] = {key: getattr(table, key) for key in StationTable.model_fields}
    return RememberedStation(name, **values)


def _require_own(path: Path) -> None:
    """Raise `UnreadableFileError` for a file that names a program and that somebody else could have written."""
    try:
        how = others_may_write(path.resolve())
    except OSError as error:
        how = f"its rights cannot be read ({error.strerror})"
    if how:
        problem = f"names a program that a run would start, and {how}"
        raise UnreadableFileError(problem, "Let nobody else write the file or its folder (chmod go-w)", str(path))
