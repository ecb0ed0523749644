"""Keeping, changing and forgetting stations: their file is written whole, and comments in it stay."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import Table

from firmware_host.errors import InputError, MissingFileError
from firmware_host.folders import stations_file
from firmware_host.model.files.loading import load_machine
from firmware_host.model.files.profiles import find_profile, is_path, named_profile
from firmware_host.model.files.stations import (
    NAME,
    RememberedStation,
    Stations,
    checked_stations,
    gate_table,
    read_stations,
    stations_of,
)
from firmware_host.system.files import write_whole

_NEW = "# Which machine stands at which port: for this user alone.\nversion = 1\n"
_ONLY_OURS = 0o600
_OTHERS_WRITE = 0o022
_PATIENCE_S = 5.0
"""So long a change waits for that of another process (s)."""


def keep_station(station: RememberedStation, *, change: bool = False, user: Path | None = None) -> RememberedStation:
    """Keep a station under its name, the first one as the one in use; returns it as it is kept.

    `change`: it takes the place of the one of that name, whose comments stay; without it a name that is there already
    is refused. A machine's file outside of the user's profiles is kept by its whole path; so are those words of
    `gate_program` that are files here. `user`: another folder than the user's own. Raises `InputError` for what no
    station can be, a machine that is not there, a file that is not right or can't be written.
    """
    if not NAME.fullmatch(station.name):
        raise InputError(f"{station.name[:100]!r} is no name of a station", "Use letters, digits, dots and dashes")

    def put(document: tomlkit.TOMLDocument, found: Stations) -> None:
        if change:
            found.named(station.name)
        elif station.name in found.by_name:
            from firmware_host.acts import ListStations

            problem, remedy = "is kept already", "Choose another name, change that one, or forget it first"
            raise InputError(problem, remedy, source=station.name, acts=(ListStations(),))
        tables = document.setdefault("stations", tomlkit.table(is_super_table=True))
        _fill(tables.setdefault(station.name, tomlkit.table()), _values(station, user))
        if not found.by_name:
            document["use"] = station.name

    return _rewritten(put, user).named(station.name)


def use_station(name: str, *, user: Path | None = None) -> RememberedStation:
    """Make a station the one in use: commands take it where none is named. Raises as `keep_station`."""

    def put(document: tomlkit.TOMLDocument, found: Stations) -> None:
        found.named(name)
        document["use"] = name

    return _rewritten(put, user).named(name)


def forget_station(name: str, *, user: Path | None = None) -> Stations:
    """Take a station out of the file; returns those that are left. Raises as `keep_station`."""

    def put(document: tomlkit.TOMLDocument, found: Stations) -> None:
        found.named(name)
        tables = document["stations"]
        tables.remove(name)
        if document.get("use") == name:
            document.remove("use")

    return _rewritten(put, user)


def _rewritten(put: Callable[[tomlkit.TOMLDocument, Stations], None], user: Path | None) -> Stations:
    """The file with a change put into it, checked before it is written."""
    from filelock import FileLock, Timeout  # not needed to read stations, and takes time to load

    path = stations_file(user=user)
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with FileLock(f"{path}.lock", timeout=_PATIENCE_S):
            return _rewritten_alone(put, path)
    except Timeout as error:
        raise InputError("another process is changing it", "Try again when that is done", str(path)) from error
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", "See its folder's rights", str(path)) from error


def _rewritten_alone(put: Callable[[tomlkit.TOMLDocument, Stations], None], path: Path) -> Stations:
    """As `_rewritten`, while nobody else changes the file. Raises `OSError` where it can't be written."""
    try:
        text = read_stations(path)
    except MissingFileError:
        text = ""
    found = checked_stations(text, path)
    document = tomlkit.parse(text or _NEW)
    document.setdefault("version", 1)
    put(document, found)
    written = tomlkit.dumps(document)
    checked = stations_of(written, path)
    if any(each.gate_program for each in checked.by_name.values()):
        path.parent.chmod(path.parent.stat().st_mode & ~_OTHERS_WRITE)
    write_whole(path.resolve(), written, mode=_ONLY_OURS)
    return checked


def _fill(table: Table, values: dict[str, Any]) -> None:
    """Make a table hold these values alone; comments beside those that stay are kept."""
    for key in [key for key in table if key not in values]:
        table.remove(key)
    for key, value in values.items():
        if table.get(key) != value:
            table[key] = value


def _values(station: RememberedStation, user: Path | None) -> dict[str, Any]:
    """What the station's table holds: what is stated, and nothing else."""
    values: dict[str, Any] = {"machine": _lasting_machine(station.machine, user)}
    if station.port:
        values["port"] = station.port
    if station.baud is not None:
        values["baud"] = station.baud
    if station.units != "metric":
        values["units"] = station.units
    if station.gate is not None:
        values["gate"] = gate_table(station)
    if station.gate_program:
        first, *others = station.gate_program
        first = first if Path(first).name == first else _whole_path(first)  # a bare one is looked for by the system
        values["gate_program"] = [first, *map(_whole_path, others)]
    return values


def _lasting_machine(reference: str, user: Path | None) -> str:
    """The machine as it is found from any folder: its name if it is the user's own or shipped, else the whole path.

    Raises `InputError` for one that is not there, or not right.
    """
    path = find_profile("machines", reference, user=user)
    load_machine(str(path))
    named = None if is_path(reference) else named_profile("machines", reference, user=user)
    return reference if named is not None and named.origin != "here" else str(path.absolute())


def _whole_path(word: str) -> str:
    """The whole path of a word that is a file here; any other word as it is."""
    return str(Path(word).absolute()) if Path(word).is_file() else word
