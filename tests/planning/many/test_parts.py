"""A table of parts: each planned as if it were alone, whatever form the table has, and none hidden by another."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from firmware_host import load_job, plan_job
from firmware_host.errors import InputError, QuantityError, UnknownKeyError
from firmware_host.model import Setup, load_motor
from firmware_host.model.files.profiles import list_profiles
from firmware_host.planning.compare.motors import compare_motors
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.many.motors import motors_for_many
from firmware_host.planning.many.parts import PartPlans, lay_out_many, plan_many
from firmware_host.planning.many.rows import PartTable
from firmware_host.planning.plan import plan_layout

TABLE: dict[str, list[Any]] = {
    "serial": ["A1", "A2", "A3", "A4"],
    "part.diameter": ["50 mm", "50.1 mm", None, "50.2 mm"],
    "index.safety_factor": [2.0, 2.5, np.float64("nan"), 2],
}
ROWS = [dict(zip(TABLE, cells, strict=True)) for cells in zip(*TABLE.values(), strict=True)]


@pytest.fixture(scope="module")
def setup() -> Setup:
    return load_job("shaft-scale")


@pytest.fixture(scope="module")
def plans(setup: Setup) -> PartPlans:
    return plan_many(setup, TABLE)


def test_each_part_has_the_plan_that_it_would_have_alone(setup: Setup, plans: PartPlans) -> None:
    changes = [
        {"part.diameter": "50 mm", "index.safety_factor": 2.0},
        {"part.diameter": "50.1 mm", "index.safety_factor": 2.5},
        {},
        {"part.diameter": "50.2 mm", "index.safety_factor": 2},
    ]
    for each, values in zip(plans, changes, strict=True):
        alone = plan_job(setup.with_values(values))
        assert each.motion is not None
        assert each.layout is not None
        assert each.motion.margins == {check.name: check.margin for check in alone.limits.checks}
        assert (each.motion.acceleration, each.motion.speed) == (
            alone.limits.motion.acceleration,
            alone.limits.motion.speed,
        )
        assert (each.motion.index_s, each.motion.binding) == (alone.index_s, alone.limits.motion.binding)
        assert each.verdict is alone.limits.verdict
        assert each.layout.segments == alone.segments.count
        assert each.layout.width_deg == pytest.approx(alone.segments.widths_deg().max(), rel=1e-12)
        assert (each.layout.lowest, each.layout.highest) == (alone.seams.lowest.min(), alone.seams.highest.max())


def test_the_figures_are_arrays_in_the_order_of_the_table(plans: PartPlans) -> None:
    assert [each.part.serial for each in plans] == TABLE["serial"]
    assert plans.verdict.tolist() == [each.verdict.value for each in plans]
    assert plans.index_s.tolist() == [each.motion.index_s for each in plans if each.motion is not None]
    assert plans.segments.dtype == np.int64
    assert plans.margin.shape == plans.width_deg.shape == plans.gap.shape == plans.stops.shape == (4,)
    assert len({*plans.index_s.tolist()}) == 3  # the third has the job's own diameter, as the first


def test_rows_columns_and_a_csv_file_are_one_table(setup: Setup, plans: PartPlans, tmp_path: Path) -> None:
    file = tmp_path / "parts.csv"
    text = "serial,part.diameter mm,index.safety_factor,place\nA1,50,2,left\nA2,50.1,2.5,\nA3,,,\nA4,50.2,2,\n"
    file.write_text(text, encoding="utf-8")
    tables: tuple[PartTable, ...] = (ROWS, file, str(file))
    for table in tables:
        found = plan_many(setup, table)
        assert [each.motion for each in found] == [each.motion for each in plans]
        assert [each.part.serial for each in found] == TABLE["serial"]
    assert plan_many(setup, file)[0].part.columns["place"] == "left"


def test_a_part_that_cannot_be_planned_says_why_and_hides_no_other(setup: Setup) -> None:
    rows = [{"part.diameter": "0.001 mm"}, {"part.diameter": "66 m"}, {"part.diameter": "50 mm"}]
    thin, huge, fine = plan_many(setup, rows)
    assert thin.verdict is huge.verdict is Verdict.FAILS
    assert 'Did you mean "66 mm"?' in huge.trouble
    assert (thin.motion, thin.layout) == (None, None)
    assert thin.trouble
    assert fine.trouble == ""
    assert fine.motion is not None


def test_no_safe_motion_is_a_part_s_own_trouble_too(setup: Setup) -> None:
    (heavy,) = plan_many(setup, [{"part.mass_offset": "20 mm", "part.mass": "60 kg"}])
    assert "the plan exceeds its limits" in heavy.trouble
    assert heavy.verdict.stops


@pytest.mark.parametrize(
    ("text", "words", "kind"),
    [
        ("part.diameter\n60 mm\n50\n", "parts.csv:3: part.diameter: 50 is a number without a unit", QuantityError),
        (
            "serial,window.half_depth\nA,0.2 mm\nB,0.3\n",
            'parts.csv:3: window.half_depth: bare number 0.3: the unit.*in the header: "window.half_depth UNIT"',
            QuantityError,
        ),
        (
            "part.diamter mm\n50\n",
            "parts.csv:2: part.diamter: unknown key 'diamter'. Did you mean 'diameter'",
            UnknownKeyError,
        ),
        ("serial,part.diameter mm\n", "holds no part", InputError),
    ],
    ids=["diameter", "another key", "no key", "no part"],
)
def test_what_is_wrong_with_a_column_is_told_with_its_row_before_anything_is_planned(
    setup: Setup, tmp_path: Path, text: str, words: str, kind: type[InputError]
) -> None:
    file = tmp_path / "parts.csv"
    file.write_text(text, encoding="utf-8")
    done = list[int]()
    with pytest.raises(InputError, match=words):
        plan_many(setup, file, told=done.append)
    assert done == []


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ([], "holds no part"),
        ({}, "holds no part"),
        ({"part.diameter": ["1 mm"], "serial": []}, "differ in length"),
        ([{"part.diameter": 50}], "part 1: part.diameter: bare number 50: the unit is missing"),
        ([{"part.nope": "1 mm"}], "part.nope: unknown key"),
    ],
    ids=["no row", "no column", "columns of two lengths", "no unit", "no key"],
)
def test_a_table_that_is_none_is_refused(setup: Setup, table: object, words: str) -> None:
    with pytest.raises(InputError, match=words):
        plan_many(setup, table)  # type: ignore[arg-type]


def test_equal_parts_are_planned_once_and_told_each(setup: Setup, monkeypatch: pytest.MonkeyPatch) -> None:
    made, done = list[Setup](), list[int]()

    def counted(one: Setup, **given: object) -> object:
        made.append(one)
        return plan_layout(one)

    monkeypatch.setattr("firmware_host.planning.many.parts.plan_layout", counted)
    diameters = ["50 mm", "50.1 mm", "50 mm", "50 mm", "50.1 mm"]
    plans = lay_out_many(setup, {"part.diameter": diameters, "serial": list("abcde")}, told=done.append)
    assert [one.job.part.diameter.text for one in made] == ["50 mm", "50.1 mm"]
    assert done == [1, 2, 3, 4, 5]
    assert plans.width_deg.tolist() == [plans.width_deg[0], plans.width_deg[1], *plans.width_deg[[0, 0, 1]].tolist()]
    assert [each.part.serial for each in plans] == list("abcde")


def elsewhere(function: Callable[[Any], Any], given: Iterable[Any]) -> Iterator[Any]:
    """As a pool of processes does it: all that goes there and comes back is pickled."""
    for each in given:
        there, piece = pickle.loads(pickle.dumps((function, each)))
        yield pickle.loads(pickle.dumps(there(piece)))


def test_parts_that_are_planned_by_several_processes_are_the_same(setup: Setup) -> None:
    table = {"part.diameter": ["50 mm", "66 m", "50.1 mm", "50 mm", "50.2 mm", "50.3 mm"], "serial": list("abcdef")}
    here, done = plan_many(setup, table), list[int]()
    there = plan_many(setup, table, told=done.append, spread=elsewhere)
    assert tuple(there) == tuple(here)
    assert "Did you mean" in there[1].trouble
    assert done == [1, 2, 3, 4, 5, 6]


def test_what_the_check_raises_ends_it_on_the_way(setup: Setup) -> None:
    calls = 0

    def check() -> None:
        nonlocal calls
        calls += 1
        if calls == 30:
            raise KeyboardInterrupt("on the way")

    with pytest.raises(KeyboardInterrupt, match=r"^on the way$"):
        plan_many(setup, {"part.diameter": [f"{50 + n / 10} mm" for n in range(20)]}, check=check)
    assert calls == 30


def test_the_motors_of_each_part_are_those_of_the_part_alone(setup: Setup) -> None:
    names = ("nema34-short", "nema14-pancake")
    motors = {p.name: load_motor(str(p.path)) for p in list_profiles("motors") if p.name in names}
    first, second, bad = motors_for_many(setup, {"part.diameter": ["50 mm", "50.2 mm", "66 m"]}, motors)
    for part, diameter in ((first, "50 mm"), (second, "50.2 mm")):
        alone = compare_motors(setup.with_values({"part.diameter": diameter}), motors)
        assert [(each.name, each.verdict, each.torque_margin) for each in part.motors] == [
            (each.name, each.verdict, each.torque_margin) for each in alone
        ]
    assert first.usable[0].index_s is not None
    assert bad.usable == ()
    assert 'Did you mean "66 mm"?' in bad.trouble
