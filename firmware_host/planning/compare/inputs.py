"""What each limit of a plan depends on: every datum is changed a little, and the checks that then differ take it in.

Nothing declares what a formula asks for; so nothing can declare it wrongly.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from pydantic import BaseModel

from firmware_host.errors import FormulaRangeError, InputError
from firmware_host.mechanics.body.density import DENSITIES
from firmware_host.model.files.loading import Setup
from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.assume.assumption import Assumption, Path
from firmware_host.planning.assume.complete import with_value
from firmware_host.planning.index.extremes import index_extremes
from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.limits.case import IndexExtremes, LimitCase
from firmware_host.planning.limits.check import LimitCheck
from firmware_host.planning.limits.limit import Limit
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.load.case import load_case, load_variants
from firmware_host.planning.plan import JobPlan
from firmware_host.units import Quantity

_FACTORS = (Fraction(101, 100), Fraction(99, 100))
"""How far a datum is changed: enough to be seen, too little to leave its range."""
_INSTEAD_OF_ZERO = Fraction(1, 1000)
_NO_INPUTS = frozenset({"version", "name", "frame", "data", "baud"})


@dataclass(frozen=True, slots=True)
class CheckInput:
    """A datum that a check takes in. `key`: dotted, as in a file; `path`: where the model holds it, below its root.

    `text`: its value with its unit. `assumed`: the range it is taken from where nobody stated it; `stated`: whether a
    file states it, else it is what is taken without. `planned`: it is of the motion or the moves, and chosen here.
    """

    key: str
    text: str
    path: Path = ()
    stated: bool = True
    assumed: Assumption | None = None
    planned: str = ""


@dataclass(frozen=True, slots=True)
class ExplainedCheck:
    """A check with everything that it takes in: what was planned first, then in the order of the files."""

    check: LimitCheck
    inputs: tuple[CheckInput, ...]


def explain_checks(setup: Setup, plan: JobPlan, names: Iterable[str] = ()) -> tuple[ExplainedCheck, ...]:
    """The checks of a plan with their inputs, in the order of `names`; all of them if none is named.

    Raises `InputError` for a name that no check of this plan has, naming those there are.
    """
    checks = {check.name: check for check in plan.limits.checks}
    wanted = tuple(names) or tuple(checks)
    for name in wanted:
        if name not in checks:
            raise _unknown(name, tuple(checks), setup.job_source)
    limits = {limit.name: limit for limit in all_limits() if limit.name in wanted}
    case, assumptions = _case(setup, plan)
    found = _Probe(case, tuple(limits.values())).found(setup, {each.path: each for each in assumptions})
    return tuple(ExplainedCheck(checks[name], tuple(found[name])) for name in wanted)


def _unknown(name: str, known: tuple[str, ...], source: str) -> InputError:
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    remedy = f"Did you mean {close[0]!r}?" if close else f"Name one of {', '.join(known)}"
    return InputError(f"this job has no check {name[:80]!r}", remedy, source=source)


def _case(setup: Setup, plan: JobPlan) -> tuple[LimitCase, tuple[Assumption, ...]]:
    """The plan at the unkind end of what is assumed."""
    loads = load_variants(setup.machine, setup.job)
    moves = index_moves(plan.route.index_turns, plan.route.purpose)
    machine, job, load = loads.unkind
    return LimitCase(machine, job, load, index_extremes(load, moves, plan.limits.motion)), loads.assumptions


@dataclass(frozen=True, slots=True)
class _Probe:
    """One case and the limits that are looked at."""

    case: LimitCase
    limits: Sequence[Limit]

    def found(self, setup: Setup, assumed: Mapping[Path, Assumption]) -> dict[str, list[CheckInput]]:
        inputs: dict[str, list[CheckInput]] = {limit.name: [] for limit in self.limits}
        before = {limit.name: limit.check(self.case) for limit in self.limits}
        for given, changes in (*self._planned(setup), *self._described(assumed)):
            for limit in self.limits:
                known = inputs[limit.name]
                if all(each.key != given.key for each in known) and self._matters(limit, before[limit.name], changes):
                    known.append(given)
        return inputs

    @staticmethod
    def _matters(limit: Limit, before: LimitCheck | None, changes: Sequence[LimitCase]) -> bool:
        for changed in changes:
            try:
                after = limit.check(changed)
            except (FormulaRangeError, InputError):
                continue
            if _figures(after) != _figures(before):
                return True
        return False

    def _planned(self, setup: Setup) -> Iterator[tuple[CheckInput, list[LimitCase]]]:
        for given, index in _planned(self.case.index, setup.job):
            yield given, [replace(self.case, index=index)]

    def _described(self, assumed: Mapping[Path, Assumption]) -> Iterator[tuple[CheckInput, list[LimitCase]]]:
        for model in (self.case.job, self.case.machine):
            for path, value, stated in _leaves(model):
                assumption = assumed.get(path)
                key, text = _key_and_text(model, path, value)
                given = CheckInput(key, text, path, stated and assumption is None, assumption)
                yield given, list(self._changed(model, path, value))

    def _changed(self, model: Job | Machine, path: Path, value: Any) -> Iterator[LimitCase]:
        for other in _others(value):
            described = with_value(model, path, other)
            machine, job = (self.case.machine, described) if isinstance(described, Job) else (described, self.case.job)
            try:
                yield replace(self.case, machine=machine, job=job, load=load_case(machine, job))
            except (FormulaRangeError, InputError):
                continue


def _figures(check: LimitCheck | None) -> tuple[object, ...]:
    return () if check is None else (check.value, check.limit)


def _planned(index: IndexExtremes, job: Job) -> Iterator[tuple[CheckInput, IndexExtremes]]:
    """What the motion and the moves give a check, each with the index where it is a little more."""
    more = float(_FACTORS[0])
    speed, acceleration = (
        "chosen, quickest safe" if each is None else "stated in the job"
        for each in (job.index.speed, job.index.acceleration)
    )
    ringing, a, v, angle, time = "worst ringing", index.acceleration, index.peak_speed, index.longest, index.duration
    pushing, holding = index.peak_pushing, index.peak_holding
    for key, value, unit, where, changed in (
        ("acceleration of an index", math.degrees(a), "deg/s^2", acceleration, replace(index, acceleration=a * more)),
        ("highest speed of an index", math.degrees(v), "deg/s", speed, replace(index, peak_speed=v * more)),
        ("longest move", math.degrees(angle), "deg", "from the segments", replace(index, longest=angle * more)),
        ("time of the longest move", time, "s", "from the motion", replace(index, duration=time * more)),
        ("swing, speeding up", pushing, "times", ringing, replace(index, peak_pushing=pushing * more)),
        ("swing, braking", holding, "times", ringing, replace(index, peak_holding=holding * more)),
    ):
        yield CheckInput(key, f"{value:.4g} {unit}", planned=where), changed


def _leaves(model: BaseModel, above: Path = ()) -> Iterator[tuple[Path, Any, bool]]:
    """Each number, quantity and yes-or-no of a description, with its path and whether a file states it."""
    for name in type(model).model_fields:
        value = getattr(model, name)
        if name in _NO_INPUTS or value is None:
            continue
        here: Path = (*above, name)
        items = [((*here, place), item) for place, item in enumerate(value)] if isinstance(value, tuple) else []
        for path, item in items or [(here, value)]:
            if isinstance(item, BaseModel):
                yield from _leaves(item, path)
            elif isinstance(item, Quantity | float | int) or name == "material":
                yield path, item, name in model.model_fields_set


def _others(value: Any) -> tuple[Any, ...]:
    """The value a little more and a little less; of yes the no, of a material the others."""
    if isinstance(value, str):
        return tuple(name for name in DENSITIES if name != value)
    if isinstance(value, bool):
        return (not value,)
    if isinstance(value, int):
        return (value + 1, value - 1) if value > 1 else (value + 1,)
    if isinstance(value, Quantity):
        exact = [value.exact * factor for factor in _FACTORS] if value.exact else [_INSTEAD_OF_ZERO]
        return tuple(Quantity(value.text, each, value.kind) for each in exact)
    return tuple(value * float(factor) for factor in _FACTORS) if value else (float(_INSTEAD_OF_ZERO),)


def _key_and_text(model: BaseModel, path: Path, value: Any) -> tuple[str, str]:
    """Key and value as a reader knows them: an item of a list by its name, and a list of points as one."""
    words: list[str] = []
    at: Any = model
    for step in path:
        if isinstance(step, int):
            items, at = at, at[step]
            name = getattr(at, "name", None)
            if name is None and isinstance(at, BaseModel):
                return ".".join(words), f"{len(items)} points"
            words.append(str(step) if name is None else str(name))
        else:
            at = getattr(at, step)
            words.append(step)
    return ".".join(words), _text(value)


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    return value.text if isinstance(value, Quantity) else f"{value:g}"
