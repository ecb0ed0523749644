"""What belt, gears, worm and rollers put on the shafts that carry them, by hand arithmetic, and what jaws can hold."""

from __future__ import annotations

import math
from typing import Any

import pytest
from scipy import constants, optimize

from firmware_host.planning.limits.check import LimitCheck, Verdict
from tests.planning.limits.report import named, names, report
from tests.planning.limits.workshop import DELETE, ROLLERS, job, machine, roller_machine

G = constants.g
PART = 2.2 * 0.03**2 / 2 + 2.2 * 0.0002**2
WORM: dict[str, Any] = {
    "gearing__0__kind": "worm",
    "gearing__0__driving_teeth": 2,
    "gearing__0__driven_teeth": 40,
    "gearing__0__efficiency": 0.6,
    "gearing__0__pitch": "6.2831853 mm",
    "gearing__0__driving_diameter": "24 mm",
    "gearing__0__belt_tension": DELETE,
}


def peaks(found: Any) -> tuple[float, float]:
    """Accelerations of the part as it swings, as the formula of torque-peak prints their factors."""
    words = named(found, "torque-peak").formula.split()
    pushing, holding = (float(word.removesuffix("*alpha")) for word in words if word.endswith("*alpha"))
    return 60 * pushing, 60 * holding


def driven_torque(found: Any) -> float:
    """By hand: what the driven wheel turns, speeding up with the imbalance against it (braking needs less here)."""
    up, _ = peaks(found)
    return (3e-4 + 5e-4 + PART) * up + 0.1 + 2.2 * G * 0.0002


def test_a_belt_pulls_the_motor_s_shaft_with_both_strands() -> None:
    # 20 teeth of 10 mm: 63.66 mm; mounted with 10 N a strand, rated 80 N at 20 mm, the pulley at 15 mm.
    found = report()
    effective = 2 * driven_torque(found) / (4 * 0.9) / (20 * 0.010 / math.pi)
    assert effective < 20
    check = named(found, "motor-shaft-load")
    assert check.value == pytest.approx(20.0, rel=1e-6)  # what one strand gains the other loses
    assert check.limit == 80.0
    loose = named(report(machine(gearing__0__belt_tension="0.01 N")), "motor-shaft-load")
    assert loose.value == pytest.approx(effective, rel=2e-3)  # all in one strand


def test_a_pulley_far_out_weighs_more_and_a_tight_belt_fails() -> None:
    far = named(report(machine(support__motor_shaft_arm="30 mm")), "motor-shaft-load")
    assert far.value == pytest.approx(20.0 * 30 / 20)
    tight = report(machine(gearing__0__belt_tension="45 N"))
    assert named(tight, "motor-shaft-load").verdict is Verdict.FAILS
    assert tight.verdict is Verdict.FAILS


def test_spur_gears_push_along_the_line_of_action() -> None:
    rig = machine(gearing__0__kind="spur-gears", gearing__0__belt_tension=DELETE, gearing__0__pitch="3.1415926536 mm")
    found = report(rig)
    tangential = 2 * driven_torque(found) / (4 * 0.9) / 0.020
    across = named(found, "motor-shaft-load").value
    assert across == pytest.approx(math.hypot(tangential, tangential * math.tan(math.radians(20))), rel=2e-3)
    by_diameter = machine(
        gearing__0__kind="spur-gears",
        gearing__0__belt_tension=DELETE,
        gearing__0__pitch=DELETE,
        gearing__0__driving_diameter="20 mm",
    )
    assert named(report(by_diameter), "motor-shaft-load").value == pytest.approx(across, rel=1e-9)


def test_a_worm_pushes_its_shaft_along_by_the_wheel_s_tangential_force() -> None:
    # 40 teeth of 6.283 mm: a wheel of 80 mm. The motor bears 20 N along its shaft.
    found = report(machine(**WORM))
    thrust = 2 * driven_torque(found) / 0.080
    check = named(found, "worm-thrust")
    assert check.value == pytest.approx(thrust, rel=2e-3)
    assert check.limit == 20.0
    # Across: friction from the efficiency by a root search, then the teeth's normal force resolved.
    tangent, phi = 2 * 6.2831853 / (math.pi * 24), math.radians(20)

    def efficiency(f: float) -> float:
        return (math.cos(phi) - f * tangent) / (math.cos(phi) + f / tangent)

    f = optimize.brentq(lambda f: efficiency(f) - 0.6, 0, 1)
    angle = math.atan(tangent)
    normal = thrust / (math.cos(phi) * math.cos(angle) - f * math.sin(angle))
    sideways = normal * (math.cos(phi) * math.sin(angle) + f * math.cos(angle))
    across = math.hypot(sideways, normal * math.sin(phi))
    assert named(found, "motor-shaft-load").value == pytest.approx(across, rel=2e-3)


def test_a_worm_with_bearings_of_its_own_leaves_the_motor_alone() -> None:
    found = report(machine(**WORM, gearing__0__largest_axial_load="400 N"))
    assert named(found, "worm-thrust").limit == 400.0
    assert "motor-shaft-load" not in names(found)


@pytest.mark.parametrize("kind", ["coupling", "planetary"])
def test_a_coupling_pushes_no_shaft_aside(kind: str) -> None:
    rig = machine(gearing__0__kind=kind, gearing__0__belt_tension=DELETE, gearing__0__pitch=DELETE)
    assert {"motor-shaft-load", "worm-thrust"}.isdisjoint(names(report(rig)))


def roller_share(check: LimitCheck) -> float:
    assert check.value is not None
    return check.value


def test_rollers_bear_weight_and_drive_force() -> None:
    # At a crawl, balanced, each of two rows bears m g/(2 cos beta); sin beta = 45/(60 + 25). Friction adds a little.
    beta = math.asin(45 / 85)
    resting = 2.2 * G / (2 * math.cos(beta))
    still = report(roller_machine(), job(part__mass_offset="0.0001 mm"), acceleration=0.01, speed=0.1)
    value = roller_share(named(still, "roller-bearing-load"))
    assert resting < value < resting * 1.02
    quick = report(roller_machine(), acceleration=60.0)
    assert roller_share(named(quick, "roller-bearing-load")) > value


def test_a_roller_on_the_motor_s_shaft_loads_the_motor() -> None:
    found = report(roller_machine(largest_bearing_load=None))
    bearings, shaft = named(found, "roller-bearing-load"), named(found, "motor-shaft-load")
    assert (bearings.verdict, bearings.remedy) == (Verdict.NOT_KNOWN, "Give drive.largest_bearing_load")
    assert shaft.value == pytest.approx(bearings.value)  # at 15 mm, rated at 20 mm: never less than the force
    assert "motor-shaft-load" not in names(report(roller_machine()))


def test_of_four_rollers_the_busiest_bears_its_row_until_its_share_is_given() -> None:
    unknown = roller_share(named(report(roller_machine(rollers=4)), "roller-bearing-load"))
    even = named(report(roller_machine(rollers=4, busiest_share=0.5)), "roller-bearing-load")
    assert even.value == pytest.approx(unknown / 2)


@pytest.mark.parametrize(
    ("changes", "asked_for"),
    [
        pytest.param({"motor__radial_load": DELETE}, "motor.radial_load", id="rating"),
        pytest.param({"motor__radial_load_at": DELETE}, "motor.radial_load_at", id="its place"),
        pytest.param({"support__motor_shaft_arm": DELETE}, "support.motor_shaft_arm", id="arm"),
        pytest.param({"gearing__0__belt_tension": DELETE}, "gearing.belt.belt_tension", id="tension"),
        pytest.param({"gearing__0__pitch": DELETE}, "gearing.belt.driving_diameter", id="pulley"),
        pytest.param({"gearing__0__kind": DELETE}, "gearing.belt.kind", id="kind"),
    ],
)
def test_a_missing_datum_of_the_motor_s_shaft_is_told_and_stops_nothing(
    changes: dict[str, Any], asked_for: str
) -> None:
    check = named(report(machine(**changes)), "motor-shaft-load")
    assert check.verdict is Verdict.NOT_KNOWN
    assert asked_for in check.remedy
    assert not check.stops


def test_what_is_too_much_without_the_belt_s_tension_is_too_much_with_any() -> None:
    found = report(machine(gearing__0__belt_tension=DELETE, motor__radial_load="1 N"))
    assert named(found, "motor-shaft-load").verdict is Verdict.FAILS


@pytest.mark.parametrize(
    ("changes", "problem"),
    [
        pytest.param({"kind": "worm"}, "a worm has no belt", id="belt tension of a worm"),
        pytest.param({"largest_axial_load": "10 N"}, "only a worm", id="thrust of a belt"),
        pytest.param({"kind": "coupling", "belt_tension": DELETE}, "pushes no shaft aside", id="pitch of a coupling"),
        pytest.param({"driving_diameter": "60 mm"}, "not both", id="pitch and diameter"),
    ],
)
def test_a_key_that_says_nothing_of_this_kind_of_stage_is_refused(changes: dict[str, Any], problem: str) -> None:
    with pytest.raises(ValueError, match=problem):
        machine(**{f"gearing__0__{key}": value for key, value in changes.items()})


def test_one_of_four_rollers_cannot_bear_less_than_half_of_its_row() -> None:
    with pytest.raises(ValueError, match=r"at least 0\.5 of its row"):
        machine(drive=ROLLERS | {"rollers": 4, "busiest_share": 0.4}, gearing=[])


# --- What the jaws hold --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("smallest", "largest", "verdict"),
    [
        pytest.param("3 mm", "80 mm", Verdict.HOLDS, id="between"),
        pytest.param("3 mm", "59.9 mm", Verdict.FAILS, id="too thick"),
        pytest.param("60.1 mm", "200 mm", Verdict.FAILS, id="too thin"),
        pytest.param("60 mm", "60 mm", Verdict.NARROW, id="just"),
    ],
)
def test_a_part_that_the_jaws_cannot_hold_fails(smallest: str, largest: str, verdict: Verdict) -> None:
    found = report(machine(drive__smallest_grip=smallest, drive__largest_grip=largest))
    check = named(found, "grip-range")
    assert check.verdict is verdict
    assert check.standing.never_waived
    assert (found.verdict is Verdict.FAILS) == (verdict is Verdict.FAILS)


def test_jaws_without_a_range_are_told_and_stop_nothing() -> None:
    found = report(machine(drive__smallest_grip=DELETE, drive__largest_grip=DELETE))
    check = named(found, "grip-range")
    assert (check.verdict, check.stops) == (Verdict.NOT_KNOWN, False)
    assert check.remedy == "Give drive.smallest_grip, drive.largest_grip"
    half = machine(drive__smallest_grip=DELETE, drive__largest_grip="50 mm")
    assert named(report(half), "grip-range").verdict is Verdict.FAILS
    assert "grip-range" not in names(report(roller_machine()))


def test_jaws_that_close_wider_than_they_open_are_refused() -> None:
    with pytest.raises(ValueError, match="is above largest_grip"):
        machine(drive__smallest_grip="90 mm", drive__largest_grip="80 mm")
