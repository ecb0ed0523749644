"""Where a value was stated: the file and the line of each key of a job, its machine and the motor that this names."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from firmware_host.errors import InputError
from firmware_host.model.files.files import read_toml
from firmware_host.model.files.key_lines import key_lines, line_of
from firmware_host.model.files.loading import Setup
from firmware_host.model.files.profiles import find_profile
from firmware_host.model.job.job import Job


class Origin(NamedTuple):
    """A file ("" for none) and the line of a key in it, None where it has none."""

    file: str = ""
    line: int | None = None


@dataclass(frozen=True)
class _Keys:
    """A file with the lines of its keys, and what it holds."""

    file: str = ""
    lines: Mapping[tuple[str | int, ...], int] | None = None
    tables: Mapping[str, Any] | None = None

    def origin(self, path: Sequence[str | int]) -> Origin:
        return Origin(self.file, line_of(path, dict(self.lines)) if self.lines else None)


@dataclass(frozen=True)
class Origins:
    """The files of a setup: job, machine, and the motor's own if the machine names one."""

    job: _Keys
    machine: _Keys
    motor: _Keys

    def of(self, path: Sequence[str | int]) -> Origin:
        """Where the key at `path`, below the job or the machine, is stated."""
        if path[0] in Job.model_fields:
            return self.job.origin(path)
        if path[0] == "motor" and self.motor.file:
            return self.motor.origin(path[1:])
        return self.machine.origin(path)


def origins_of(setup: Setup) -> Origins:
    """Read the files of a setup again, to see where each key stands; a file that is gone by now tells nothing."""
    machine = _keys(setup.machine_source)
    return Origins(_keys(setup.job_source), machine, _motor(machine))


def _keys(source: str) -> _Keys:
    try:
        tables, text = read_toml(Path(source)) if source else ({}, "")
    except InputError:
        return _Keys()
    return _Keys(source, key_lines(text), tables)


def _motor(machine: _Keys) -> _Keys:
    named = (machine.tables or {}).get("motor")
    if not isinstance(named, str):
        return _Keys()
    try:
        return _keys(str(find_profile("motors", named, beside=Path(machine.file).parent)))
    except InputError:
        return _Keys()
