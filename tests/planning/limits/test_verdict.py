"""A verdict follows from value, limit, what is missing, what the limit is and an acceptance, and from nothing else."""

from __future__ import annotations

import ast
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants

from firmware_host.model import load_job
from firmware_host.planning.limits.check import (
    NARROW_MARGIN,
    LimitCheck,
    Standing,
    Verdict,
    not_known,
    overall,
    told_unknown,
    upper_limit,
)
from firmware_host.planning.limits.registry import LIMITS
from firmware_host.planning.plan import plan_job
from tests.planning.limits.report import named, report
from tests.planning.limits.workshop import DELETE, ROLLERS, job, machine, roller_machine

PAGE = Path(__file__).resolve().parents[3] / "docs" / "pages" / "verdicts.md"
ROOM = Path(__file__).resolve().parents[3] / "firmware_host" / "planning" / "limits"
ADVISORY = Standing(advisory=True)
TOLD = Standing(stops_unknown=False)
FIGURE = st.floats(min_value=0, max_value=1e9) | st.sampled_from([0.0, 1.0, 1e-300, math.inf])
STANDINGS = st.builds(Standing, st.booleans(), st.booleans(), st.sampled_from(["", "it would drop"]))


def checked(value: float, limit: float, missing: tuple[str, ...] = ()) -> LimitCheck:
    return upper_limit("x", value, limit, "N", formula="f", source="s", remedy="r", missing=missing)


@given(FIGURE, FIGURE, st.sampled_from([(), ("part.mass",)]), STANDINGS, st.sampled_from(["", "tried it"]))
def test_a_margin_never_contradicts_its_verdict(
    value: float, limit: float, missing: tuple[str, ...], standing: Standing, reason: str
) -> None:
    check = replace(checked(value, limit, missing), standing=standing, reason=reason)
    assert check.margin is not None
    kept = value <= limit * (1 + 1e-9)
    if check.verdict in (Verdict.HOLDS, Verdict.NARROW):
        assert kept
        assert not missing
        assert check.margin >= -1e-9
        assert (check.verdict is Verdict.NARROW) == (check.margin < NARROW_MARGIN - 1e-9)
    elif check.verdict is Verdict.NOT_KNOWN:
        assert kept
        assert missing
    elif check.verdict is Verdict.ACCEPTED:
        assert reason
        assert not standing.never_waived
        assert missing or not kept
    else:
        assert check.margin < 0
        assert check.verdict is (Verdict.EXCEEDED if standing.advisory else Verdict.FAILS)


@given(st.lists(st.tuples(FIGURE, FIGURE, st.sampled_from([(), ("part.mass",)]), STANDINGS), max_size=6))
def test_a_plan_stops_exactly_if_one_of_its_checks_does(rows: list[tuple[float, float, Any, Standing]]) -> None:
    checks = [replace(checked(*figures, missing), standing=standing) for *figures, missing, standing in rows]
    verdict = overall(checks)
    assert verdict.stops == any(check.stops for check in checks)
    untold = [check for check in checks if check.name not in told_unknown([check])]
    assert all(check.verdict.gravity <= verdict.gravity for check in untold)


@pytest.mark.parametrize(
    ("missing", "standing", "reason", "value", "verdict", "stops"),
    [
        pytest.param((), Standing(), "", 2.0, Verdict.FAILS, True, id="more than a limit"),
        pytest.param((), ADVISORY, "", 2.0, Verdict.EXCEEDED, False, id="more than a rule of thumb"),
        pytest.param((), ADVISORY, "", 64.0, Verdict.EXCEEDED, False, id="64 times an estimate"),
        pytest.param((), ADVISORY, "tried it", 2.0, Verdict.ACCEPTED, False, id="rule of thumb accepted"),
        pytest.param((), Standing(), "tried it", 2.0, Verdict.ACCEPTED, False, id="limit accepted"),
        pytest.param((), Standing(), "tried it", 0.1, Verdict.HOLDS, False, id="accepted, and holds"),
        pytest.param((), Standing(never_waived="drops"), "tried it", 2.0, Verdict.FAILS, True, id="never accepted"),
        pytest.param(("part.mass",), Standing(), "", 0.1, Verdict.NOT_KNOWN, True, id="could lose steps"),
        pytest.param(("part.mass",), TOLD, "", 0.1, Verdict.NOT_KNOWN, False, id="a bearing's rating"),
        pytest.param(("part.mass",), Standing(), "weighed", 0.1, Verdict.ACCEPTED, False, id="not known, accepted"),
        pytest.param(("part.mass",), Standing(), "", 2.0, Verdict.FAILS, True, id="fails without the missing"),
        pytest.param((), Standing(), "", math.nan, Verdict.FAILS, True, id="not a number holds nothing"),
    ],
)
def test_the_scale(
    missing: tuple[str, ...], standing: Standing, reason: str, value: float, verdict: Verdict, stops: bool
) -> None:
    check = replace(checked(value, 1.0, missing), standing=standing, reason=reason)
    assert (check.verdict, check.stops) == (verdict, stops)


def test_without_a_value_it_is_not_known_and_the_gravest_counts() -> None:
    rating = replace(not_known("rating", "N", formula="f", source="s", missing=("support.rating",)), standing=TOLD)
    assert rating.verdict is Verdict.NOT_KNOWN
    assert overall([rating]) is Verdict.HOLDS
    assert told_unknown([rating]) == ("rating",)
    narrow, fails = checked(0.9, 1.0), checked(2.0, 1.0)
    exceeded, accepted = replace(fails, standing=ADVISORY), replace(fails, reason="tried it")
    grip = not_known("grip", "", formula="f", source="s", missing=("drive.friction",))
    for count, wanted in enumerate(("holds narrowly", "accepted", "exceeded", "not known", "fails"), start=1):
        assert overall([rating, narrow, accepted, exceeded, grip, fails][: count + 1]) == wanted


def test_a_verdict_is_made_nowhere_else_in_the_room() -> None:
    for path in ROOM.rglob("*.py"):
        if path.name not in ("check.py", "accept.py"):
            named_there = {
                node.attr for node in ast.walk(ast.parse(path.read_text())) if isinstance(node, ast.Attribute)
            }
            assert not named_there & {verdict.name for verdict in Verdict}, path.name


def test_creep_and_walk_far_beyond_what_a_seam_hides_are_exceeded() -> None:
    # Half a spot of 0.06 mm; the creep of a 76 mm cup is some 0.5 mm in an index, its walk 0.16 mm.
    checks = {check.name: check for check in plan_job(load_job("tumbler-wrap")).limits.checks}
    for name in ("creep", "axial-walk"):
        assert checks[name].margin < -4
        assert checks[name].verdict is Verdict.EXCEEDED


def test_a_part_that_only_a_worm_holds_creeps_and_says_so_without_a_margin_of_minus_infinity() -> None:
    heavy = {"motor__detent_torque": DELETE, "gearing__0__self_locking": True}
    check = named(report(machine(**heavy), job(part__mass_offset="50 mm")), "power-off")
    # A fiftieth of the holding torque where nobody stated it, from memory: m g e/n over 20 N mm.
    assert check.margin == pytest.approx(1 - 2.2 * constants.g * 0.05 / 4 / 0.02)
    assert (check.verdict, check.stops) == (Verdict.EXCEEDED, False)
    assert check.assumed == ("motor.detent_torque",)


def test_a_limit_s_own_class_comes_with_its_check() -> None:
    found = {check.name: check for check in report(roller_machine(), acceleration=20.0).checks}
    assert found["creep"].standing.advisory
    assert found["falls-through"].standing.never_waived
    assert found["grip"].standing.stops_unknown
    assert not found["supply-voltage"].standing.stops_unknown


def test_every_limit_has_its_row_on_the_page_of_verdicts_with_what_it_is() -> None:
    lines = PAGE.read_text(encoding="utf-8").split("## The limits")[1].splitlines()
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("| `")]
    assert [row[0] for row in rows] == [f"`{limit.name}`" for limit in LIMITS]
    for (name, what, standing, unknown, accepted), limit in zip(rows, LIMITS, strict=True):
        assert what, name
        assert standing == ("advisory" if limit.advisory else "limit"), name
        assert unknown == ("stops" if limit.stops_unknown and not limit.advisory else "told"), name
        assert accepted == (f"no: {limit.never_waived}" if limit.never_waived else "yes"), name


@settings(max_examples=25)
@given(
    st.sampled_from([1, 2, 8, 16]),
    st.floats(5.0, 900.0),
    st.floats(1.0, 30.0),
    st.floats(0.0, 60.0),
    st.booleans(),
    st.sampled_from(["largest_radial_load", "overhang_base", "bearing_spacing"]),
)
def test_no_check_of_a_plan_has_a_margin_that_contradicts_its_verdict(
    microsteps: int, acceleration: float, speed: float, offset_mm: float, rolls: bool, absent: str
) -> None:
    on_rollers = {"drive": ROLLERS | {"slip": offset_mm / 1000}, "gearing": []}
    rig = machine(driver__microsteps=microsteps, **(on_rollers if rolls else {f"support__{absent}": DELETE}))
    work = job(part__mass_offset=f"{offset_mm / 3 if rolls else offset_mm:.3f} mm")
    for check in report(rig, work, speed=speed, acceleration=acceleration).checks:
        if check.verdict in (Verdict.HOLDS, Verdict.NARROW):
            assert check.margin is not None, check.name
            assert check.margin >= -1e-9, check.name
            assert (check.verdict is Verdict.NARROW) == (check.margin < NARROW_MARGIN - 1e-9), check.name
        elif check.verdict is Verdict.NOT_KNOWN:
            assert check.missing, check.name
        else:
            assert check.margin is not None, check.name
            assert check.margin < 0, check.name
            assert check.verdict is (Verdict.EXCEEDED if check.standing.advisory else Verdict.FAILS), check.name
        if check.name != "resonance" and check.value is not None and check.limit is not None and check.limit > 0:
            assert check.margin == pytest.approx((check.limit - check.value) / check.limit), check.name
