"""A part heavier, longer or more eccentric, slipperier rollers, a lower voltage: no margin may gain by it."""

import itertools
import math
from collections.abc import Set
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_host.planning.limit_report import LimitReport
from firmware_host.planning.limits.check import Verdict
from tests.planning.limits.report import report
from tests.planning.limits.workshop import DELETE, job, machine, roller_machine

GRAVITY_OF = {Verdict.HOLDS: 0, Verdict.NARROW: 1, Verdict.FAILS: 2}
worse_by = st.floats(min_value=1.02, max_value=3.0)
few = settings(max_examples=25, deadline=None, derandomize=True)

# Fast enough that the part's inertia, not friction, decides what braking takes; far above the resonance.
MOTION = {"speed": 8.0, "acceleration": 200.0}
TORQUES = {"torque-accelerating", "torque-braking", "torque-peak"}
WEIGHT = TORQUES | {"holding-torque", "inertia-ratio", "overhang", "radial-load", "power-off", "supply-current"}


def margins(found: LimitReport) -> dict[str, float]:
    return {check.name: check.margin for check in found.checks if check.margin is not None}


def assert_no_better(
    worse: LimitReport, better: LimitReport, strictly: Set[str], *, but: Set[str] = frozenset()
) -> None:
    """Every margin falls or stays, those of `strictly` fall, and the verdict gets no milder; `but` are left out."""
    low, high = margins(worse), margins(better)
    assert set(low) == set(high)
    for name in set(low) - but:
        assert low[name] <= high[name] + 1e-12, name
    for name in strictly:
        assert low[name] < high[name], name
    assert GRAVITY_OF[worse.verdict] >= GRAVITY_OF[better.verdict]


@few
@given(worse_by)
def test_a_heavier_part_on_a_chuck(factor: float) -> None:
    works = [job(part__mass=f"{kg} kg", part__density=DELETE) for kg in (1.5 * factor, 1.5)]
    # The natural frequency falls with the inertia, so the distance to its bands may change either way.
    assert_no_better(
        report(work=works[0], **MOTION), report(work=works[1], **MOTION), WEIGHT | {"supply-voltage"}, but={"resonance"}
    )


@few
@given(worse_by)
def test_a_longer_part_on_a_chuck(factor: float) -> None:
    works = [job(part__length=f"{mm} mm", part__overhang=f"{mm / 2} mm", part__mass=DELETE) for mm in (60 * factor, 60)]
    assert_no_better(
        report(work=works[0], **MOTION),
        report(work=works[1], **MOTION),
        WEIGHT | {"unsupported-length", "supply-voltage"},
        but={"resonance"},
    )


@few
@given(worse_by)
def test_a_more_eccentric_part_on_a_chuck(factor: float) -> None:
    works = [job(part__mass_offset=f"{mm} mm") for mm in (0.3 * factor, 0.3)]
    assert_no_better(
        report(work=works[0], **MOTION),
        report(work=works[1], **MOTION),
        TORQUES | {"holding-torque", "power-off", "supply-current", "supply-voltage"},
        but={"resonance"},
    )


@few
@given(st.sampled_from([1, 2]), worse_by)
def test_a_more_eccentric_part_on_rollers(rows: int, factor: float) -> None:
    rig = roller_machine(driven_rows=rows)
    works = [job(part__mass_offset=f"{mm} mm") for mm in (0.3 * factor, 0.3)]
    assert_no_better(
        report(rig, works[0], speed=4.0, acceleration=20.0),
        report(rig, works[1], speed=4.0, acceleration=20.0),
        {"grip", "grip-peak", "seating", "seating-peak", "holding-torque", "power-off"},
        but={"resonance"},
    )


@few
@given(st.sampled_from([1, 2]), worse_by)
def test_slipperier_rollers(rows: int, factor: float) -> None:
    rigs = [roller_machine(driven_rows=rows, friction=mu, slip=0.0, contact_width="1 mm") for mu in (0.9 / factor, 0.9)]
    found = [report(rig, speed=4.0, acceleration=20.0) for rig in rigs]
    assert_no_better(found[0], found[1], {"grip", "grip-peak", "creep"})


@few
@given(st.sampled_from([True, False]), st.floats(min_value=10.0, max_value=23.5))
def test_a_lower_supply_voltage(by_points: bool, volts: float) -> None:
    data: dict[str, Any] = {} if by_points else {"motor__torque_curve": DELETE}
    rigs = [machine(driver__supply_voltage=f"{v} V", **data) for v in (volts, 24.0)]
    # Less voltage leaves more room below the highest that the supply bears.
    found = [report(rig, speed=20.0, acceleration=400.0) for rig in rigs]
    assert_no_better(found[0], found[1], {"supply-current"}, but={"supply-voltage"})
    assert margins(found[0])["supply-voltage"] > margins(found[1])["supply-voltage"]


@pytest.mark.parametrize("by_points", [True, False], ids=["torque points", "electrical data"])
def test_the_torque_at_speed_falls_with_the_voltage(by_points: bool) -> None:
    data: dict[str, Any] = {} if by_points else {"motor__torque_curve": DELETE}
    steps = []
    for volts in (24, 18, 14, 10):
        found = report(machine(driver__supply_voltage=f"{volts} V", **data), speed=20.0, acceleration=400.0)
        steps.append(margins(found)["torque-accelerating"])
    assert all(later < earlier for earlier, later in itertools.pairwise(steps))


@few
@given(worse_by)
def test_on_rollers_more_weight_on_the_same_shape_presses_more_and_turns_harder(factor: float) -> None:
    rig = roller_machine(idle_friction_torque="2 N*mm")
    works = [job(part__mass=f"{kg} kg", part__density=DELETE) for kg in (1.0 * factor, 1.0)]
    heavy, light = (margins(report(rig, work, speed=4.0, acceleration=20.0)) for work in works)
    assert all(heavy[name] < light[name] for name in TORQUES - {"torque-braking"} | {"holding-torque"})
    assert heavy["grip"] >= light["grip"] - 1e-12
    assert heavy["grip-peak"] >= light["grip-peak"] - 1e-3  # it swings a little longer, too


def test_a_part_made_ever_heavier_ends_in_failing_and_never_recovers() -> None:
    seen = []
    for kg in (0.5, 1, 2, 4, 8, 16, 32):
        found = report(work=job(part__mass=f"{kg} kg", part__density=DELETE), **MOTION)
        seen.append(GRAVITY_OF[found.verdict])
    assert seen == sorted(seen)
    assert seen[0] < seen[-1] == GRAVITY_OF[Verdict.FAILS]
    assert math.isfinite(min(margins(found).values()))
