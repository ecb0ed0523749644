"""One input of a job or its machine over a range: what the limits say to each value."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from firmware_host.errors import InputError, LimitExceededError, PlanError
from firmware_host.model.files.loading import Setup
from firmware_host.model.files.values import value_at
from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.units import Quantity

DEFAULT_POINTS = 9
MOST_POINTS = 200

_FORM = "Write KEY=a..b or KEY=a..b:n, like part.diameter=40 mm..60 mm:9"
#: Numbers as they are written: the digits 0 to 9, and nothing between them.
_WHOLE = re.compile(r"[+-]?[0-9]{1,18}")
_DECIMAL = re.compile(r"[+-]?(?:[0-9]{1,30}\.?[0-9]{0,30}|\.[0-9]{1,30})(?:[eE][+-]?[0-9]{1,3})?")
_UNIT = re.compile(r"\s*[+-]?[0-9.]+(?:[eE][+-]?[0-9]+)?(?:/[0-9]+)?\s*(.+)")


@dataclass(frozen=True, slots=True)
class Sweep:
    """What to vary: the `key` (see `Setup.with_values`), its ends as written, and how many points (2 to 200)."""

    key: str
    first: str
    last: str
    points: int


@dataclass(frozen=True, slots=True)
class SweepPoint:
    """One value, as it would be written in the file, and what follows from it.

    `report` is None where no motion is safe or nothing can be planned; `trouble` then says why. `segments`: how many.
    """

    value: str
    verdict: Verdict
    report: LimitReport | None
    trouble: str = ""
    segments: int | None = None

    @property
    def binding(self) -> tuple[str, ...]:
        """The names of what stops the index going faster; empty without a motion."""
        return self.report.motion.binding if self.report is not None else ()


def parse_sweep(text: str) -> Sweep:
    """Read "KEY=a..b" or "KEY=a..b:n". `InputError` if it is neither, or n is out of range."""
    key, _, values = text.partition("=")
    span, colon, number = values.rpartition(":")
    first, dots, last = (span if colon else values).partition("..")
    if not (key.strip() and first.strip() and dots and last.strip()):
        raise InputError(f"{text!r} does not give a key and a range", _FORM, key="sweep")
    points = DEFAULT_POINTS
    if colon:
        points = int(number) if _WHOLE.fullmatch(number.strip()) and len(number) < 6 else 0
    if not 2 <= points <= MOST_POINTS:
        raise InputError(f"{text!r} asks for {number} points", f"Give from 2 to {MOST_POINTS}", key="sweep")
    return Sweep(key.strip(), first.strip(), last.strip(), points)


def sweep_limits(
    setup: Setup, sweep: Sweep | str, *, plan: Callable[[Setup], JobPlan] = plan_job
) -> tuple[SweepPoint, ...]:
    """Plan the job with each value of the sweep, evenly spaced from the first to the last; all else stays.

    A sweep may be given as its text, "part.mass=1 kg..3 kg:5" (see `parse_sweep`).
    The key may lie in the job or in the machine (the motor's keys below `motor`). Values are as in the file, with their
    units; whole numbers are rounded, and each then comes once. A value with which nothing can be planned is a point
    that fails. Raises `InputError` for a key that isn't there, naming the nearest, or a value that no file may hold.
    """
    sweep = parse_sweep(sweep) if isinstance(sweep, str) else sweep
    values = _values(setup, sweep)
    return tuple(_point(_with(setup, sweep, value), _shown(value), plan) for value in values)


def _point(setup: Setup, shown: str, plan: Callable[[Setup], JobPlan]) -> SweepPoint:
    try:
        planned = plan(setup)
    except (LimitExceededError, PlanError) as error:
        return SweepPoint(shown, Verdict.FAILS, None, str(error))
    report = planned.limits
    return SweepPoint(shown, report.verdict, report, segments=planned.segments.count)


def _shown(value: Any) -> str:
    return value if isinstance(value, str) else f"{value:.6g}"


def _values(setup: Setup, sweep: Sweep) -> list[Any]:
    """Every value as the file would hold it: text with a unit, a number, or a whole number."""
    raw = [_literal(sweep.first), _literal(sweep.last)]
    ends = [_read(_with(setup, sweep, value), sweep) for value in raw]
    if isinstance(ends[0], Quantity) and isinstance(ends[1], Quantity):
        return _quantities(ends[0], ends[1], sweep.points)
    for value in ends:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise InputError(
                f"{value!r} is neither a number nor a quantity", "Vary a key that holds one", key=sweep.key
            )
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
    if _WHOLE.fullmatch(text):
        return int(text)
    return float(text) if _DECIMAL.fullmatch(text) else text


def _with(setup: Setup, sweep: Sweep, value: Any) -> Setup:
    return setup.with_values({sweep.key: value}, source="sweep")


def _read(setup: Setup, sweep: Sweep) -> Any:
    return value_at(setup.job, setup.machine, sweep.key)
