"""Whether what is described can be: each value against its range, and those that belong together."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator
from fractions import Fraction
from functools import cache
from typing import NamedTuple

from pydantic import BaseModel

from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.model.machine.motor import Motor
from firmware_host.model.plausible.jobs import JOB_PAIRS, TOGETHER_PAIRS
from firmware_host.model.plausible.machines import MACHINE_PAIRS
from firmware_host.model.plausible.motors import MOTOR_PAIRS
from firmware_host.model.plausible.pair import Pair
from firmware_host.model.plausible.ranges import OTHER_UNITS, RANGES, USUAL_BAUD, Range
from firmware_host.units import Quantity, parse_quantity

_BY_KEY = {key: row for row in RANGES for key in row.keys}
_NUMBER = re.compile(r"([+-]?[0-9.]+(?:[eE][+-]?[0-9]+)?(?:/[0-9]+)?)\s*(.+)")


class Finding(NamedTuple):
    """A value that cannot be so (`refused`), or hardly is: its dotted key, what is odd, and what was probably meant.

    `by_itself`: whatever the others are; else it does not go with another.
    """

    key: str
    problem: str
    remedy: str
    refused: bool
    by_itself: bool = True

    def text(self, source: str) -> str:
        """A line for a person, with the file that holds the key."""
        return (
            f"{source}: {self.key}: {self.problem}. {self.remedy}"
            if source
            else (f"{self.key}: {self.problem}. {self.remedy}")
        )


def findings(described: BaseModel) -> list[Finding]:
    """What cannot be so, or hardly is, in a job, a machine (with its motor) or a motor alone."""
    if isinstance(described, Job):
        found, pairs = list(_out_of_range(described, "", "")), JOB_PAIRS
        return found + _pairs(pairs, (described,), "", found)
    if isinstance(described, Machine):
        found = list(_out_of_range(described, "", ""))
        found += _pairs(MACHINE_PAIRS, (described,), "", found)
        return found + _pairs(MOTOR_PAIRS, (described.motor,), "motor.", found)
    if isinstance(described, Motor):
        found = list(_out_of_range(described, "motor.", ""))
        return found + _pairs(MOTOR_PAIRS, (described,), "", found)
    return []


def findings_together(job: Job, machine: Machine) -> list[Finding]:
    """What of a job does not go with what of its machine."""
    return _pairs(TOGETHER_PAIRS, (job, machine), "", ())


def _out_of_range(described: BaseModel, name: str, key: str) -> Iterator[Finding]:
    """`name`: where the model stands in the table of ranges; `key`: where it stands in its file."""
    for field in type(described).model_fields:
        yield from _value(getattr(described, field), f"{name}{field}", f"{key}{field}")


def _value(value: object, name: str, key: str) -> Iterator[Finding]:
    if isinstance(value, BaseModel):
        yield from _out_of_range(value, f"{name}.", f"{key}.")
    elif isinstance(value, tuple):
        for place, item in enumerate(value):
            yield from _value(item, name, f"{key}.{place}")
    elif isinstance(value, Quantity):
        if (row := _BY_KEY.get(name)) is not None and value.exact:
            yield from _judged(row, key, str(value), abs(float(value.exact)), _bounds(row, value.kind), value)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        if (row := _BY_KEY.get(name)) is not None:
            yield from _judged(row, key, f"{value:g}", abs(value), (row.least, row.low, row.high, row.most))
        elif name == "link.baud" and value not in USUAL_BAUD:
            nearest = _like(str(value), map(str, USUAL_BAUD))
            yield Finding(key, f"{value:g} is no usual rate of a serial port", f"Did you mean {nearest}?", False)


def _judged(
    row: Range, key: str, text: str, size: float, bounds: tuple[float, ...], value: Quantity | None = None
) -> Iterator[Finding]:
    least, low, high, most = bounds
    if low <= size <= high:
        return
    refused, little = not least <= size <= most, size < low
    if refused:
        limit = row.least if little else row.most
        problem = f"{text} is {'less' if little else 'more'} than any has (at {'least' if little else 'most'} {{}})"
    else:
        limit = row.low if little else row.high
        problem = (
            f"{text} is {'less' if little else 'more'} than usual (hardly ever {'below' if little else 'above'} {{}})"
        )
    yield Finding(key, problem.format(f"{limit:,.10g} {row.unit}".rstrip()), _meant(row, value), refused)


def _meant(row: Range, value: Quantity | None) -> str:
    """The same number in another unit, if that is usual; else what the key is about."""
    written = _NUMBER.fullmatch(value.text) if value is not None else None
    if value is None or written is None:
        return row.hint or "Check the value"
    for unit in OTHER_UNITS.get(value.kind, ()):
        other = abs(float(Fraction(_size(unit, value.kind))) * _number(written[1]))
        _, low, high, _ = _bounds(row, value.kind)
        if low <= other <= high and unit != written[2]:
            return f'Did you mean "{written[1]} {unit}"?'
    return row.hint or "Check the value and its unit"


def _number(text: str) -> float:
    over, _, under = text.partition("/")
    return float(over) / float(under or 1)


@cache
def _bounds(row: Range, kind: str) -> tuple[float, float, float, float]:
    size = float(_size(row.unit, kind))
    return row.least * size, row.low * size, row.high * size, row.most * size


@cache
def _size(unit: str, kind: str) -> Fraction:
    return parse_quantity(f"1 {unit}", kind).exact


def _like(written: str, known: Iterable[str]) -> str:
    names = list(known)
    close = difflib.get_close_matches(written, names, n=1, cutoff=0.0)
    return close[0] if close else names[0]


def _pairs(pairs: Iterable[Pair], about: tuple[BaseModel, ...], prefix: str, found: Iterable[Finding]) -> list[Finding]:
    """What does not go together, but for values of which as much is told anyway."""
    told = {finding.key: finding.refused for finding in found}
    results = []
    for pair in pairs:
        size = pair.ratio(*about)
        if size is None or pair.low <= size <= pair.high:
            continue
        refused = not pair.least <= size <= pair.most
        if any(told.get(prefix + key, False) >= refused for key in pair.keys if prefix + key in told):
            continue
        problem = pair.problem(size, *about)
        results.append(Finding(prefix + pair.keys[0], problem, pair.meant(size, *about), refused, by_itself=False))
    return results
