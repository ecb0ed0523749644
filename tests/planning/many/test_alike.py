"""A long table: parts that are nearly alike help each other's search, and each comes out as if it were alone."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from firmware_host import JobPlan, load_job, plan_job
from firmware_host.errors import InputError, LimitExceededError, PlanError
from firmware_host.model import Setup
from firmware_host.model.files.parts import PartRow
from firmware_host.planning.guess import Guess
from firmware_host.planning.limits.check import NARROW_MARGIN
from firmware_host.planning.many import alike
from firmware_host.planning.many.lot.lot import planned_near
from firmware_host.planning.many.nearness import near_together, numbers_of, spread_out
from firmware_host.planning.many.part import planned
from firmware_host.planning.many.parts import PartPlan, plan_many
from tests.planning.many.test_parts import elsewhere

JOBS = ("bottle-band", "heavy-shaft", "shaft-scale", "sleeve-label", "tumbler-wrap")
BINDING = ("torque-accelerating", "torque-peak", "grip", "grip-peak", "seating-peak", "step-rate-controller")
LONGER, MARGIN = 1e-4, 2e-3
"""What a part of a table may take longer than alone, as a part of it, and its margins differ: as the pages say."""


def drawn_rows(setup: Setup, count: int, *, by: float = 0.004) -> list[dict[str, Any]]:
    """Parts whose measured sizes and mass differ by up to the part `by` of them, each in its own way."""
    drawn, part = random.Random(3), setup.job.part
    sizes = {f"part.{name}": getattr(part, name, None) for name in ("diameter", "length", "wall", "inner_diameter")}
    rows = []
    for number in range(count):
        row: dict[str, Any] = {"serial": f"S{number}"}
        for key, size in sizes.items():
            if size is not None:
                row[key] = f"{size.si * 1e3 * (1 + drawn.uniform(-by, by) * (1 - 0.9 * (number % 2))):.4f} mm"
        if part.mass is not None:
            row["part.mass"] = f"{part.mass.si * (1 + drawn.uniform(-by, by)):.5f} kg"
        rows.append(row)
    return rows


def alone(setup: Setup, row: dict[str, Any]) -> JobPlan:
    return plan_job(setup.with_values({key: value for key, value in row.items() if "." in key}))


def require_as_alone(found: PartPlan, plan: JobPlan) -> None:
    """The same is said of it, it is as quick within `LONGER`, and no margin is off by more than `MARGIN`."""
    motion, limits = found.motion, plan.limits
    assert motion is not None
    assert limits.tightest is not None
    assert (motion.verdict, motion.reasons, motion.binding) == (limits.verdict, limits.reasons, limits.motion.binding)
    assert motion.tightest == limits.tightest.name
    assert motion.index_s <= plan.index_s * (1 + LONGER)
    assert motion.index_s >= plan.index_s * (1 - 2 * LONGER)  # a search may miss a little, and this one not
    assert motion.margins.keys() == {check.name for check in limits.checks}
    for check in limits.checks:
        assert motion.margins[check.name] == pytest.approx(check.margin, abs=MARGIN, rel=MARGIN), check.name
        if check.name in BINDING and check.margin is not None:
            assert check.margin < NARROW_MARGIN or (motion.margins[check.name] or 0.0) >= NARROW_MARGIN - 1e-9
    assert found.layout is not None
    assert found.layout.segments == plan.segments.count
    assert found.layout.lowest == pytest.approx(plan.seams.lowest.min(), abs=1e-6)


@pytest.fixture
def guesses(monkeypatch: pytest.MonkeyPatch) -> list[Guess | None]:
    """What each plan of a long table was told of its motion."""
    told = list[Guess | None]()

    def whole(setup: Setup, check: Any) -> Any:
        told.append(None)
        return planned(setup, check)

    def near(parts: Any, guesses: Any, check: Any) -> Any:
        told.extend(guesses)
        return planned_near(parts, guesses, check)

    monkeypatch.setattr(alike, "planned", whole)
    monkeypatch.setattr(alike, "planned_near", near)
    return told


@pytest.mark.some(1)
@pytest.mark.parametrize("job", JOBS)
def test_a_part_of_a_long_table_is_planned_as_it_would_be_alone(job: str) -> None:
    setup = load_job(job)
    rows = drawn_rows(setup, 64)
    plans = plan_many(setup, rows)
    for place in random.Random(5).sample(range(64), 6):
        require_as_alone(plans[place], alone(setup, rows[place]))


@pytest.mark.slow
@pytest.mark.parametrize("by", [0.0004, 0.004, 0.04], ids=["turned", "sawn", "of many sizes"])
@pytest.mark.parametrize("job", JOBS)
def test_every_part_of_a_long_table_is_planned_as_it_would_be_alone(job: str, by: float) -> None:
    setup = load_job(job)
    rows = drawn_rows(setup, 320, by=by)
    for found, row in zip(plan_many(setup, rows), rows, strict=True):
        if found.trouble:
            with pytest.raises((InputError, PlanError, LimitExceededError), match=r"."):
                alone(setup, row)
        else:
            require_as_alone(found, alone(setup, row))


def test_few_of_many_parts_that_are_alike_are_searched_whole(guesses: list[Guess | None]) -> None:
    setup = load_job("tumbler-wrap")
    plans = plan_many(setup, {"part.diameter": [f"{80 + number / 1000} mm" for number in range(80)]})
    assert not plans.stops.any()
    assert sum(guess is None for guess in guesses) <= 16
    assert sum(guess is not None for guess in guesses) >= 60


@pytest.mark.slow
def test_parts_that_are_not_alike_are_searched_whole(guesses: list[Guess | None]) -> None:
    setup = load_job("sleeve-label")
    rows = [{"part.diameter": f"{32 + number**1.5 / 20:.3f} mm"} for number in range(64)]
    plans = plan_many(setup, rows)
    assert guesses.count(None) >= 60
    assert plans[7].motion is not None
    assert plans[7].motion.index_s == alone(setup, rows[7]).index_s


@pytest.mark.slow
def test_a_stated_motion_is_kept_by_every_part_of_a_long_table(guesses: list[Guess | None]) -> None:
    setup = load_job("tumbler-wrap").with_values({"index.acceleration": "2 rad/s^2"})
    plans = plan_many(setup, {"part.diameter": [f"{80 + number / 1000} mm" for number in range(64)]})
    assert set(guesses) == {None}
    assert plans.acceleration == pytest.approx(2.0)


def test_what_is_wrong_with_a_part_of_a_long_table_is_what_is_wrong_with_it_alone() -> None:
    setup = load_job("tumbler-wrap")
    rows = drawn_rows(setup, 64)
    rows[5] = {"part.diameter": "80 m"}
    rows[20] = {"part.mass_offset": "20 mm", "part.mass": "60 kg"}
    plans = plan_many(setup, rows)
    assert [place for place, each in enumerate(plans) if each.trouble] == [5, 20]
    short = plan_many(setup, [rows[5], rows[20]])
    assert [each.trouble for each in short] == [plans[5].trouble.replace("part 6", "part 1"), plans[20].trouble]
    assert plans[20].verdict.stops


def test_a_long_table_is_told_in_lots_and_is_the_same_in_other_processes() -> None:
    setup, done = load_job("tumbler-wrap"), list[int]()
    sizes = [f"{80 + number / 1000} mm" for number in range(70)]
    table = {"part.diameter": [*sizes, *sizes[:6]], "serial": [f"S{number}" for number in range(76)]}
    here = plan_many(setup, table, told=done.append)
    assert [each.part.serial for each in here] == table["serial"]
    assert done[-1] == 76
    assert done == sorted(set(done))
    assert [each.motion for each in here[:6]] == [each.motion for each in here[70:]]
    assert tuple(plan_many(setup, table, spread=elsewhere)) == tuple(here)


@pytest.mark.parametrize("width", [1e-3, 1e-6], ids=["near", "as it is"])
@pytest.mark.parametrize("job", ["tumbler-wrap", "heavy-shaft"])
def test_a_guess_far_off_ends_in_a_motion_that_is_safe_all_the_same(job: str, width: float) -> None:
    setup = load_job(job)
    own = plan_job(setup)
    motion, kept = own.limits.motion, {check.name: check.margin for check in own.limits.checks}
    for gentler, slower in ((0.7, 0.7), (1.4, 1.0), (1.0, 1.4), (8.0, 8.0)):
        guess = Guess(motion.acceleration * gentler, motion.speed * slower, width)
        found = plan_job(setup, guess=guess)
        for check in found.limits.checks:
            if check.name in (*BINDING, "resonance") and (kept[check.name] or 0.0) >= NARROW_MARGIN - 1e-9:
                assert (check.margin or 0.0) >= NARROW_MARGIN - 1e-9, check.name
        assert found.index_s >= own.index_s * (1 - 1e-4)


def row(number: int, **values: Any) -> PartRow:
    return PartRow(number, values={f"part.{key}": value for key, value in values.items()})


def test_rows_are_near_by_their_numbers_and_only_by_those_that_differ() -> None:
    rows = [row(1, diameter="50 mm", length="1 m"), row(2, diameter="52 mm", length="1 m")]
    assert numbers_of([*rows, row(3, diameter="51 mm", length="1 m")]).tolist() == [[0.0], [1.0], [0.5]]
    assert numbers_of(rows[:1]).shape == (1, 0)
    mixed = numbers_of([*rows, row(3, diameter="2 in", length="1 m"), row(4, length="1 m")])
    assert len({*mixed[:, 0].tolist()}) == 4  # no number of one unit: as far from each other as the next
    assert numbers_of([row(1, count=2), row(2, count=4), row(3, count=3)]).tolist() == [[0.0], [1.0], [0.5]]


def test_lots_hold_every_row_once_and_those_near_together() -> None:
    drawn = np.random.default_rng(4)
    rows = [row(n, diameter=f"{a} mm", length=f"{b} mm") for n, (a, b) in enumerate(drawn.uniform(50, 60, (200, 2)))]
    lots = near_together(rows, 30)
    assert sorted(each.number for lot in lots for each in lot) == list(range(200))
    assert max(map(len, lots)) <= 30
    spans = [np.ptp([float(str(each.values["part.diameter"]).split()[0]) for each in lot]) for lot in lots]
    assert np.mean(spans) < 5  # of 10
    alike_rows = [replace(rows[0], number=number) for number in range(70)]
    assert sum(map(len, near_together(alike_rows, 30))) == 70


def test_those_that_span_some_rows_lie_far_apart_and_as_often_as_asked() -> None:
    numbers = np.array([[0.0, 0.5, 7.0], [1.0, 0.5, 7.0], [0.5, 0.0, 7.0], [0.5, 1.0, 7.0], [0.5, 0.5, 7.0]])
    once, twice = spread_out(numbers), spread_out(numbers, 2)
    assert len(once) == 3
    assert set(once) <= {0, 1, 2, 3}  # a plane in two numbers; the third is the same in all
    assert twice[:3] == once
    assert sorted(twice) == [0, 1, 2, 3, 4]
    assert spread_out(np.array([[1.0], [1.0]])) == [0]


def test_a_row_that_alone_differs_in_a_number_is_among_those_that_span() -> None:
    numbers = np.random.default_rng(2).uniform(0, 1, (200, 3))
    numbers[:, 2] = 0.0
    numbers[137, 2] = 1e-6
    assert 137 in spread_out(numbers)
