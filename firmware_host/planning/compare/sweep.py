"""One input of a job or its machine over a range: what the limits say to each value."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np

from firmware_host.errors import InputError, LimitExceededError, PlanError, UnknownKeyError
from firmware_host.model.files.files import validate
from firmware_host.model.files.loading import Setup
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.limits.report import LimitReport, Verdict
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.units import Quantity

DEFAULT_POINTS = 9
MOST_POINTS = 200

_FORM = "Write KEY=a..b or KEY=a..b:n, like part.diameter=40 mm..60 mm:9"
_UNIT = re.compile(r"\s*[+-]?[0-9.]+(?:[eE][+-]?[0-9]+)?(?:/[0-9]+)?\s*(.+)")

ModelT = TypeVar("ModelT", Job, Machine)


@dataclass(frozen=True, slots=True)
class Sweep:
    """What to vary: the dotted `key`, its first and last value as written, and how many `points` (2 to 200)."""

    key: str
    first: str
    last: str
    points: int

    @property
    def path(self) -> tuple[str, ...]:
        """The key's parts; an item of a list by its number from 0, or by its name."""
        return tuple(self.key.split("."))


@dataclass(frozen=True, slots=True)
class SweepPoint:
    """One value, as it would be written in the file, and what follows from it.

    `report` is None where no motion is safe or nothing can be planned; `trouble` then says why.
    """

    value: str
    verdict: Verdict
    report: LimitReport | None
    trouble: str = ""


def parse_sweep(text: str) -> Sweep:
    """Read "KEY=a..b" or "KEY=a..b:n". `InputError` if it is neither, or n is out of range."""
    key, _, values = text.partition("=")
    span, colon, number = values.rpartition(":")
    first, dots, last = (span if colon else values).partition("..")
    if not (key.strip() and first.strip() and dots and last.strip()):
        raise InputError(f"{text!r} is no range of a key", _FORM, key="sweep")
    points = DEFAULT_POINTS
    if colon:
        points = int(number) if number.strip().isdecimal() and len(number) < 6 else 0
    if not 2 <= points <= MOST_POINTS:
        raise InputError(f"{text!r} asks for {number} points", f"Give from 2 to {MOST_POINTS}", key="sweep")
    return Sweep(key.strip(), first.strip(), last.strip(), points)


def sweep_limits(setup: Setup, sweep: Sweep, *, plan: Callable[[Setup], JobPlan] = plan_job) -> tuple[SweepPoint, ...]:
    """Plan the job with each value of the sweep, evenly spaced from the first to the last; all else stays.

    The key may lie in the job or in the machine (the motor's keys below `motor`). Values are as in the file, with their
    units; whole numbers are rounded, and each then comes once. A value with which nothing can be planned is a point
    that fails. Raises `InputError` for a key that isn't there, naming the nearest, or a value that no file may hold.
    """
    values = _values(setup, sweep)
    return tuple(_point(_changed(setup, sweep, value), _shown(value), plan) for value in values)


def _point(setup: Setup, shown: str, plan: Callable[[Setup], JobPlan]) -> SweepPoint:
    try:
        report = plan(setup).limits
    except (LimitExceededError, PlanError) as error:
        return SweepPoint(shown, Verdict.FAILS, None, str(error))
    return SweepPoint(shown, report.verdict, report)


def _shown(value: Any) -> str:
    return value if isinstance(value, str) else f"{value:.6g}"


def _values(setup: Setup, sweep: Sweep) -> list[Any]:
    """Every value as the file would hold it: text with a unit, a number, or a whole number."""
    raw = [_literal(sweep.first), _literal(sweep.last)]
    ends = [_read(_changed(setup, sweep, value), sweep) for value in raw]
    if isinstance(ends[0], Quantity) and isinstance(ends[1], Quantity):
        return _quantities(ends[0], ends[1], sweep.points)
    for value in ends:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(f"{value!r} is no number or quantity", "Sweep a key that holds one", key=sweep.key)
    numbers: list[Any] = np.linspace(float(ends[0]), float(ends[1]), sweep.points).tolist()
    if isinstance(ends[0], int) and isinstance(ends[1], int):
        return list(dict.fromkeys(round(number) for number in numbers))
    return numbers


def _quantities(first: Quantity, last: Quantity, points: int) -> list[Any]:
    """Texts in the first value's unit; the ends as written."""
    found = _UNIT.fullmatch(first.text)
    unit = found.group(1) if found is not None else ""
    between = np.linspace(first.to(unit), last.to(unit), points).tolist()[1:-1]
    return [first.text, *(f"{value:.9g} {unit}" for value in between), last.text]


def _literal(text: str) -> Any:
    """What TOML would make of the text: a whole number, a number, or else a text."""
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text


def _changed(setup: Setup, sweep: Sweep, value: Any) -> Setup:
    """The setup with the key set to `value`, checked like a file."""
    path = sweep.path
    if path[0] in Job.model_fields:
        return replace(setup, job=_with(Job, setup.job, sweep, value))
    if path[0] in Machine.model_fields:
        return replace(setup, machine=_with(Machine, setup.machine, sweep, value))
    known = sorted({*Job.model_fields, *Machine.model_fields})
    raise UnknownKeyError(f"neither a job nor a machine has a key {path[0]!r}", _nearest(path[0], known), key=sweep.key)


def _with(kind: type[ModelT], model: ModelT, sweep: Sweep, value: Any) -> ModelT:
    tables = model.model_dump(mode="json")
    *parents, last = sweep.path
    place: Any = tables
    for part in parents:
        place = place[_step(place, part, sweep)]
    place[_step(place, last, sweep)] = value
    return validate(kind, tables, source="sweep")


def _step(place: Any, part: str, sweep: Sweep) -> str | int:
    """Where `part` of the key leads from a place of the file. `UnknownKeyError` if it leads nowhere."""
    if isinstance(place, list):
        named = [item.get("name") if isinstance(item, dict) else None for item in place]
        if part in named:
            return named.index(part)
        if part.isdecimal() and int(part) < len(place):
            return int(part)
        known = [name or str(number) for number, name in enumerate(named)]
        raise UnknownKeyError(f"the list has no item {part!r}", _nearest(part, known), key=sweep.key)
    if not isinstance(place, dict):
        before, written = sweep.key.rpartition(f".{part}")[0], "not given" if place is None else repr(place)
        raise UnknownKeyError(f"{before} is {written}, so nothing lies below it", "Give it in the file", key=sweep.key)
    if part not in place:
        raise UnknownKeyError(f"unknown key {part!r}", _nearest(part, sorted(place)), key=sweep.key)
    return part


def _read(setup: Setup, sweep: Sweep) -> Any:
    """The value at the key, as the model holds it."""
    described: Any = setup.job if sweep.path[0] in Job.model_fields else setup.machine
    tables = described.model_dump(mode="json")
    for part in sweep.path:
        step = _step(tables, part, sweep)
        described = getattr(described, step) if isinstance(step, str) else described[step]
        tables = tables[step]
    return described


def _nearest(part: str, known: list[str]) -> str:
    close = difflib.get_close_matches(part, known, n=1, cutoff=0.5)
    return f"Did you mean {close[0]!r}?" if close else f"Known here: {', '.join(known)}"
