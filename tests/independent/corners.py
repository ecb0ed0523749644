"""What is not stated, put into the plain tables: every corner of the ranges that the plan says it assumes."""

from __future__ import annotations

import copy
import itertools
from collections.abc import Callable, Iterator
from math import inf
from typing import Any

import firmware_host as fh
from tests.independent.recompute.verdict import Found
from tests.independent.values import si

Table = dict[str, Any]

_GRAVE = ("holds", "holds narrowly", "exceeded", "not known", "fails")


def corners(machine: Table, job: Table, plan: fh.JobPlan) -> Iterator[tuple[Table, Table]]:
    """Machine and job with every assumed datum at an end of its range; data of one kind at the same end."""
    assumed = plan.limits.assumptions
    kinds = sorted({each.together.name for each in assumed} - {"ALONE"})
    for ends in itertools.product((False, True), repeat=len(kinds)):
        other = dict(zip(kinds, ends, strict=True))
        tables = copy.deepcopy({"machine": machine, "job": job})
        for each in assumed:
            low = each.unkind_is_low != other.get(each.together.name, False)
            value = each.low if low else each.high
            place: Any = tables["job" if each.path[0] in fh.Job.model_fields else "machine"]
            for step in each.path[:-1]:
                if isinstance(place, dict):
                    place.setdefault(step, {})
                place = place[step]
            place[each.path[-1]] = value if isinstance(value, bool | float) else str(value)
        yield tables["machine"], tables["job"]


def windings(machine: Table, plan: fh.JobPlan) -> list[tuple[float, float]]:
    """(resistance, inductance) of the motor as stated, or at the ends of what is assumed of them."""
    ends = []
    for key in ("resistance", "inductance"):
        assumed = [each for each in plan.limits.assumptions if each.path == ("motor", key)]
        ends.append(
            [si(str(end)) for end in (assumed[0].low, assumed[0].high)] if assumed else [si(machine["motor"][key])]
        )
    return list(itertools.product(*ends))


def worst(limit: Callable[[Any], Found | None], facts: list[Any]) -> Found | None:
    """The gravest of what a recomputed limit says at the corners."""
    found = [each for each in (limit(fact) for fact in facts) if each is not None]
    if not found:
        return None
    return min(found, key=lambda each: (-max(map(_GRAVE.index, each.verdicts())), _margin(each)))


def _margin(found: Found) -> float:
    return found.margin if found.margin is not None else -inf
