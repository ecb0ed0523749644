"""From files to the models: a job with its machine, a machine with its motor."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from firmware_host.errors import InputError
from firmware_host.model.files.files import read_toml, validate
from firmware_host.model.files.key_lines import key_lines, line_of
from firmware_host.model.files.profiles import find_profile
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.motor import Motor


@dataclass(frozen=True)
class Setup:
    """A job and the machine it is for, with the files they came from."""

    job: Job
    machine: Machine
    job_source: str = ""
    machine_source: str = ""


def load_motor(reference: str, *, beside: Path | None = None) -> Motor:
    """Read a motor from a path or a profile's name. Raises `InputError`."""
    path = find_profile("motors", reference, beside=beside)
    tables, text = read_toml(path)
    return validate(Motor, tables, source=str(path), text=text)


def load_machine(reference: str, *, beside: Path | None = None) -> Machine:
    """Read a machine from a path or a profile's name; `motor = "NAME"` in it is looked up. Raises `InputError`."""
    return _load_machine(find_profile("machines", reference, beside=beside))


def _load_machine(path: Path) -> Machine:
    tables, text = read_toml(path)
    tables = dict(tables)
    motor = tables.get("motor")
    if isinstance(motor, str):
        tables["motor"] = _named_motor(motor, path, text)
    return validate(Machine, tables, source=str(path), text=text)


def _named_motor(reference: str, machine_path: Path, text: str) -> dict[str, Any]:
    try:
        motor_path = find_profile("motors", reference, beside=machine_path.parent)
    except InputError as error:
        line = line_of(("motor",), key_lines(text))
        raise InputError(
            f"{reference!r}: {error.problem}", error.remedy, source=str(machine_path), key="motor", line=line
        ) from error
    tables, motor_text = read_toml(motor_path)
    validate(Motor, tables, source=str(motor_path), text=motor_text)
    return tables


def load_job(reference: str) -> Setup:
    """Read a job from a path or a profile's name, and the machine it names. Raises `InputError`."""
    path = find_profile("jobs", reference)
    tables, text = read_toml(path)
    job = validate(Job, tables, source=str(path), text=text, folder=path.parent)
    try:
        machine_path = find_profile("machines", job.machine, beside=path.parent)
    except InputError as error:
        line = line_of(("machine",), key_lines(text))
        raise InputError(
            f"{job.machine!r}: {error.problem}", error.remedy, source=str(path), key="machine", line=line
        ) from error
    return Setup(job, _load_machine(machine_path), str(path), str(machine_path))
