"""The figures that the program computes of a pair, and whether another value of a key changes one of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from fractions import Fraction
from typing import Any

import numpy as np

import firmware_host as fh
from tests.independent.compare import plan_of
from tests.independent.drawing import Table

_WORDS = frozenset({"formula", "source", "remedy", "reason", "missing", "assumed", "request", "warnings"})
_SMALLEST = 1e-9


def figures(value: Any) -> Iterator[float | str]:
    """All numbers and verdicts in a result, in order; no texts."""
    if isinstance(value, Enum):
        yield str(value.value)
    elif isinstance(value, bool | int | float | Fraction | np.number):
        yield float(value)
    elif isinstance(value, np.ndarray):
        yield from (float(each) for each in value.ravel().tolist())
    elif is_dataclass(value):
        yield from (
            each for field in fields(value) if field.name not in _WORDS for each in figures(getattr(value, field.name))
        )
        if hasattr(value, "verdict"):
            yield from figures(value.verdict)
    elif isinstance(value, Mapping):
        yield from (each for key in value for each in figures(value[key]))
    elif isinstance(value, tuple | list):
        yield from (each for item in value for each in figures(item))


def computed(machine: Table, job: Table) -> list[float | str] | None:
    """The figures of the plan; what a refusal says if there is none; None where the tables are no machine and job."""
    try:
        setup = fh.job_from(job, machine=fh.Machine.model_validate(machine))
    except (fh.InputError, ValueError):
        return None
    try:
        return list(figures(fh.plan_job(setup)))
    except fh.FirmwareHostError as error:
        return [f"refused: {type(error).__name__}"]


def drawn(machine: Table, job: Table) -> list[float | str]:
    """The figures of its reliability."""
    setup = fh.job_from(job, machine=fh.Machine.model_validate(machine))
    return list(figures(fh.reliability(setup, plan_of(machine, job), draws=100)))


def differ(first: list[float | str], second: list[float | str]) -> bool:
    """Whether a figure is another one."""
    if len(first) != len(second):
        return True
    return any(not _alike(one, other) for one, other in zip(first, second, strict=True))


def _alike(one: float | str, other: float | str) -> bool:
    if isinstance(one, str) or isinstance(other, str):
        return one == other
    return one == other or abs(one - other) <= _SMALLEST * max(abs(one), abs(other))
