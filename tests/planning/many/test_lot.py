"""Parts taken together are told as each is alone: whatever column differs, at the motion that is found of each."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from firmware_host import load_job, plan_job
from firmware_host.errors import InputError, LimitExceededError, PlanError
from firmware_host.model import Setup
from firmware_host.planning.guess import Guess
from firmware_host.planning.interrupt import never
from firmware_host.planning.limits.check import Standing, gravities, upper_limit
from firmware_host.planning.many.lot.lot import LotPart, planned_near
from firmware_host.planning.many.lot.stack import UnlikeError, stacked
from firmware_host.planning.many.part import PartLayout, PartMotion, laid_out
from firmware_host.units import Quantity

JOBS = ("bottle-band", "heavy-shaft", "shaft-scale", "sleeve-label", "tumbler-wrap")
PARTS = 4
SAME = 1e-9
OF_THE_SWING = ("motor-shaft-load", "roller-bearing-load", "worm-thrust")
"""Limits of the part as it swings, as those of a peak: how far it does is told by an upper bound, to a thousandth."""


def keys(described: BaseModel, above: str = "") -> Iterator[tuple[str, Quantity]]:
    """Every key whose value is a quantity."""
    for name in type(described).model_fields:
        value = getattr(described, name)
        if isinstance(value, Quantity):
            yield f"{above}{name}", value
        elif isinstance(value, BaseModel):
            yield from keys(value, f"{above}{name}.")


def texts(value: Quantity, factors: list[float]) -> list[str]:
    number, unit = value.text.split(maxsplit=1)
    return [f"{float(number) * factor:.9g} {unit}" for factor in factors]


def require_told_alike(setup: Setup, part: LotPart, layout: PartLayout, motion: PartMotion) -> None:
    """What is said of a part taken with others is what its own plan says at the same motion."""
    stated = {
        "index.acceleration": f"{motion.acceleration!r} rad/s^2",
        "index.speed": f"{motion.speed!r} rad/s",
    }
    own = plan_job(part.setup.with_values(stated))
    assert (motion.verdict, motion.reasons) == (own.limits.verdict, own.limits.reasons)
    tightest = own.limits.tightest
    assert tightest is not None
    assert motion.tightest == tightest.name
    assert motion.margins.keys() == {check.name for check in own.limits.checks}
    for check in own.limits.checks:
        by = 1e-3 if check.name.endswith("-peak") or check.name in OF_THE_SWING else SAME
        assert motion.margins[check.name] == pytest.approx(check.margin, rel=by, abs=by), check.name
    alone = laid_out(own.layout)
    assert (layout.segments, layout.showing) == (alone.segments, alone.showing)
    assert layout.width_deg == alone.width_deg
    for mine, its in ((layout.gap, alone.gap), (layout.lowest, alone.lowest), (layout.highest, alone.highest)):
        assert mine == pytest.approx(its, rel=SAME, abs=SAME * 1e-3)
    assert motion.index_s == pytest.approx(own.index_s, rel=1e-4)


def told_together(job: str, columns: dict[str, list[float]]) -> int:
    """Plan parts of `job` whose values at the keys are multiplied so together; how many are proved near their own."""
    setup = load_job(job)
    values = dict(itertools.chain(keys(setup.job), keys(setup.machine)))
    cells = {key: texts(values[key], factors) for key, factors in columns.items()}
    try:
        setups = [setup.with_values({key: each[place] for key, each in cells.items()}) for place in range(PARTS)]
        motions = [plan_job(each).limits.motion for each in setups]
        parts = [LotPart.of(each) for each in setups]
    except (InputError, PlanError, LimitExceededError):
        return 0
    if len({part.kind for part in parts}) > 1 or not all(part.sure for part in parts):
        return 0
    found = planned_near(parts, [Guess(m.acceleration * (1 - 1e-6), m.speed, 1e-6) for m in motions], never)
    for part, each in zip(parts, found, strict=True):
        if each is not None:
            require_told_alike(setup, part, *each)
    return sum(each is not None for each in found)


FACTORS = st.lists(st.floats(0.996, 1.004), min_size=PARTS, max_size=PARTS, unique=True)


def of_part(job: str) -> list[str]:
    return [key for key, _ in keys(load_job(job).job) if key.startswith("part.") and key != "part.circumference"]


@pytest.mark.some(2)
@pytest.mark.parametrize("job", JOBS)
def test_every_measure_of_a_part_may_differ_at_once(job: str) -> None:
    drawn = np.random.default_rng(3)
    columns = {key: drawn.uniform(0.9995, 1.0005, PARTS).tolist() for key in of_part(job)}
    assert told_together(job, columns) == PARTS


@pytest.mark.some(1)
@pytest.mark.parametrize("job", JOBS)
@settings(max_examples=3, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_whatever_differs_between_parts_they_are_told_as_each_alone(job: str, data: st.DataObject) -> None:
    check_one_draw(job, data)


@pytest.mark.slow
@pytest.mark.parametrize("job", JOBS)
@settings(max_examples=37, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_whatever_differs_between_many_parts_they_are_told_as_each_alone(job: str, data: st.DataObject) -> None:
    check_one_draw(job, data)


def check_one_draw(job: str, data: st.DataObject) -> None:
    setup = load_job(job)
    every = [key for key, _ in itertools.chain(keys(setup.job), keys(setup.machine)) if not key.startswith("index.")]
    chosen = data.draw(st.lists(st.sampled_from(every), min_size=1, max_size=3, unique=True))
    columns = {key: data.draw(FACTORS) for key in chosen}
    try:
        told_together(job, columns)
    except (UnlikeError, TypeError, ValueError):
        assume(any(not key.startswith("part.") for key in chosen))  # a machine's numbers may have to be alike


def test_what_is_alike_stays_a_number_and_what_differs_is_an_array() -> None:
    setup = load_job("tumbler-wrap")
    parts = [setup.with_values({"part.diameter": f"{size} mm"}).job.part for size in (80, 80.5, 81)]
    part, loads = stacked(parts), stacked([LotPart.of(setup).load] * 3)
    assert part.diameter.si.tolist() == pytest.approx([0.08, 0.0805, 0.081])  # type: ignore[attr-defined]
    assert part.whole_length.si == parts[0].whole_length.si
    assert isinstance(part, type(parts[0]))
    assert loads is stacked([loads])


@pytest.mark.parametrize(
    "values",
    [[1, 2], ["solid", "tube"], [None, 1.0], [(1.0, 2.0), (1.0,)], [np.zeros(2), np.ones(2)], [object(), object()]],
    ids=["counts", "kinds", "not given", "as many", "tables", "anything"],
)
def test_what_is_no_number_has_to_be_the_same(values: list[Any]) -> None:
    with pytest.raises(UnlikeError, match=r"."):
        stacked(values)


@given(margins=st.lists(st.floats(-1, 1), min_size=1), missing=st.booleans(), advisory=st.booleans())
def test_the_verdicts_of_many_margins_are_those_of_each(margins: list[float], missing: bool, advisory: bool) -> None:
    keys = ("part.mass",) if missing else ()
    check = upper_limit("any", 0.5, 1.0, "N", formula="", source="", remedy="", missing=keys)
    check = replace(check, standing=Standing(advisory=advisory))
    each = [replace(check, margin=margin).verdict.gravity for margin in margins]
    assert gravities(check, np.array(margins)).tolist() == each
