"""Single values of a job and its machine, by their dotted key: read one, or set some and check everything anew."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TypeVar

from firmware_host.errors import InputError, UnknownKeyError
from firmware_host.model.files.files import validate
from firmware_host.model.files.problems import nearest_of
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine

ModelT = TypeVar("ModelT", Job, Machine)


def changed(job: Job, machine: Machine, values: Mapping[str, Any], *, source: str) -> tuple[Job, Machine]:
    """The job and its machine with each key set to its value, as a file would hold it; checked like a file.

    A key is dotted ("part.diameter"); an item of a list is named by its number from 0, or by its `name`. It may lie in
    the job or in the machine (the motor's keys below `motor`). Raises `UnknownKeyError` for a key that isn't there,
    naming the nearest, and `InputError` for a value that no file may hold; `source` is named in the latter.
    """
    of_job = {key: value for key, value in values.items() if _in_job(key)}
    of_machine = {key: value for key, value in values.items() if key not in of_job}
    return _with(Job, job, of_job, source), _with(Machine, machine, of_machine, source)


def value_at(job: Job, machine: Machine, key: str) -> Any:
    """The value at a key, as the model holds it. Raises `UnknownKeyError` if there is no such key."""
    described: Any = job if _in_job(key) else machine
    tables = described.model_dump(mode="json")
    for part in key.split("."):
        step = _step(tables, part, key)
        described = getattr(described, step) if isinstance(step, str) else described[step]
        tables = tables[step]
    return described


def _in_job(key: str) -> bool:
    """Whether the key lies in the job; else it lies in the machine."""
    if not isinstance(key, str):
        raise InputError(f"{key!r} is not the name of a key", 'Write a key as a text, like "part.diameter"', key="key")
    first = key.split(".")[0]
    if first in Job.model_fields:
        return True
    if first in Machine.model_fields:
        return False
    known = sorted({*Job.model_fields, *Machine.model_fields})
    raise UnknownKeyError(f"neither a job nor a machine has a key {first!r}", nearest_of(first, known), key=key)


def _with(kind: type[ModelT], model: ModelT, values: Mapping[str, Any], source: str) -> ModelT:
    if not values:
        return model
    tables = _as_tables(model, {key.split(".")[0] for key in values})
    for key, value in values.items():
        *parents, last = key.split(".")
        place: Any = tables
        for part in parents:
            place = place[_step(place, part, key)]
        place[_step(place, last, key)] = value
    return validate(kind, tables, source=source, one_by_one=True)


def _as_tables(model: Job | Machine, named: set[str]) -> dict[str, Any]:
    """What a file would hold below each of the `named` keys; the rest as it is, which needs no second check."""
    return {key: getattr(model, key) for key in type(model).model_fields} | model.model_dump(mode="json", include=named)


def _step(place: Any, part: str, key: str) -> str | int:
    """Where `part` of the key leads from a place of the file. `UnknownKeyError` if it leads nowhere."""
    if isinstance(place, list):
        named = [item.get("name") if isinstance(item, dict) else None for item in place]
        if part in named:
            return named.index(part)
        if part.isascii() and part.isdecimal() and int(part) < len(place):
            return int(part)
        known = [name or str(number) for number, name in enumerate(named)]
        raise UnknownKeyError(f"the list has no item {part!r}", nearest_of(part, known), key=key)
    if not isinstance(place, dict):
        before, written = key.rpartition(f".{part}")[0], "not given" if place is None else repr(place)
        raise UnknownKeyError(f"{before} is {written}, so nothing lies below it", "Give it in the file", key=key)
    if part not in place:
        raise UnknownKeyError(f"unknown key {part!r}", nearest_of(part, sorted(place)), key=key)
    return part
