"""From files to the models: a job with its machine, a machine with its motor."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from firmware_host.errors import InputError
from firmware_host.model.files.files import read_toml, validate
from firmware_host.model.files.key_lines import key_lines, line_of
from firmware_host.model.files.problems import refuse_implausible
from firmware_host.model.files.profiles import find_profile
from firmware_host.model.files.values import changed
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.motor import Motor
from firmware_host.model.plausible.check import findings, findings_together


@dataclass(frozen=True)
class Setup:
    """A job and the machine it is for, with the files they came from."""

    job: Job
    machine: Machine
    job_source: str = ""
    machine_source: str = ""

    def with_values(self, values: Mapping[str, Any], *, source: str = "with_values") -> Setup:
        """Change some values, each by its dotted key; returns another setup, all of it checked like a file.

        `setup.with_values({"part.diameter": "66 mm", "driver.microsteps": 8})`: values as in a file, quantities with
        their unit. A key may lie in the job or in the machine (the motor's keys below `motor`); an item of a list is
        named by its number from 0, or by its `name`. Raises `InputError` for a key that isn't there, naming the
        nearest, or a value that no file may hold; `source` is what the error names as the place.
        """
        job, machine = changed(self.job, self.machine, values, source=source)
        return replace(self, job=job, machine=machine)

    @property
    def remarks(self) -> tuple[str, ...]:
        """What is hardly ever so in the files, a line each: the file, the key, the value, and the likely slip."""
        found = [finding.text(self.job_source) for finding in findings(self.job)]
        found += [finding.text(self.machine_source) for finding in findings(self.machine)]
        return (*found, *(finding.text(self.job_source) for finding in findings_together(self.job, self.machine)))


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
            f"{reference!r}: {error.problem}",
            error.remedy,
            source=str(machine_path),
            key="motor",
            line=line,
            acts=error.acts,
        ) from error
    tables, motor_text = read_toml(motor_path)
    validate(Motor, tables, source=str(motor_path), text=motor_text)
    return tables


def load_job(reference: str) -> Setup:
    """Read a job from a path or a profile's name, and the machine it names. Raises `InputError`."""
    path = find_profile("jobs", reference)
    tables, text = read_toml(path)
    job = validate(Job, tables, source=str(path), text=text, folder=path.parent)
    machine_path = _named_machine(job, path.parent, str(path), text)
    machine = _load_machine(machine_path)
    refuse_implausible(findings_together(job, machine), str(path), text)
    return Setup(job, machine, str(path), str(machine_path))


def job_from(
    tables: Mapping[str, Any], *, machine: Machine | None = None, folder: Path = Path(), source: str = "job_from"
) -> Setup:
    """A job from what its file would hold, as a dict, with its machine: checked like a file.

    `machine` is the machine; if None, the one that the job names is read (a path from `folder`, or a profile's name).
    Relative paths in the job start at `folder`. `source` is what an error names as the place. Raises `InputError`.
    """
    if not isinstance(tables, Mapping):
        raise InputError("a job is a dict of its keys", "Give a dict, or read a file with load_job", source)
    job = validate(Job, dict(tables), source=source, folder=folder)
    machine_path = _named_machine(job, folder, source, "") if machine is None else None
    described = machine if machine_path is None else _load_machine(machine_path)
    if described is None:
        raise InputError("no machine is given", "Give one, or name it in the job", source, "machine")
    refuse_implausible(findings_together(job, described), source)
    return Setup(job, described, source, str(machine_path or ""))


def _named_machine(job: Job, folder: Path, source: str, text: str) -> Path:
    """The file of the machine that a job names; `source` and `text` are the job's."""
    try:
        return find_profile("machines", job.machine, beside=folder)
    except InputError as error:
        line = line_of(("machine",), key_lines(text))
        raise InputError(
            f"{job.machine!r}: {error.problem}", error.remedy, source=source, key="machine", line=line, acts=error.acts
        ) from error
