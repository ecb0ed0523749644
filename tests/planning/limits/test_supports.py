"""Limits of bearings, tailstock, slenderness and power-off: by hand arithmetic, and for their own causes."""

from typing import Any

import pytest
from scipy import constants

from firmware_host.planning.limits.check import Verdict
from tests.planning.limits.report import named, names, report
from tests.planning.limits.workshop import DELETE, job, machine, roller_machine

G = constants.g
TAILSTOCK: dict[str, Any] = {
    "support__tailstock": True,
    "support__friction_torque": "0.05 N*m",
    "support__tailstock_force": "100 N",
    "support__largest_tailstock_load": "60 N",
    "support__largest_axial_load": "300 N",
}
ON_THE_SHAFT: dict[str, Any] = {
    "gearing": [],
    "support__largest_radial_load": DELETE,
    "support__bearing_spacing": DELETE,
}


def without(key: str) -> dict[str, Any]:
    """A tailstock of which one datum is not known."""
    return {name: value for name, value in TAILSTOCK.items() if name != key}


def test_the_front_bearing_bears_part_and_chuck_by_the_lever_law() -> None:
    # Bearings 50 mm apart, face 40 mm before the front one, centre of mass 50 mm further.
    check = named(report(), "radial-load")
    assert check.value == pytest.approx(2.2 * G * (1 + 90 / 50) + 1.0 * G * (1 + 40 / 50))
    assert check.limit == 500.0


def test_a_tailstock_leaves_the_chuck_its_share_at_the_face() -> None:
    found = report(machine(**TAILSTOCK))
    assert named(found, "radial-load").value == pytest.approx((2.2 / 2 + 1.0) * G * (1 + 40 / 50))
    assert named(found, "tailstock-load").value == pytest.approx(2.2 * G / 2)
    assert named(found, "axial-load").value == pytest.approx(100.0)
    assert named(found, "axial-load").limit == 300.0


def test_a_chuck_on_the_motor_s_shaft_loads_the_motor() -> None:
    # Rated 80 N at 20 mm; the chuck at 40 mm, the part's centre of mass at 90 mm.
    check = named(report(machine(**ON_THE_SHAFT), acceleration=10.0), "radial-load")
    assert check.value == pytest.approx(2.2 * G * 90 / 20 + 1.0 * G * 40 / 20)
    assert check.limit == 80.0
    assert check.verdict is Verdict.FAILS


def test_a_tailstock_against_a_motor_s_shaft_counts_against_the_motor_s_axial_load() -> None:
    check = named(report(machine(**(TAILSTOCK | ON_THE_SHAFT)), acceleration=10.0), "axial-load")
    assert (check.value, check.limit, check.verdict) == (100.0, 20.0, Verdict.FAILS)


def test_without_a_tailstock_nothing_presses_along_the_axis() -> None:
    assert names(report()).isdisjoint({"axial-load", "tailstock-load"})


def test_rollers_carry_the_part_so_there_is_no_overhang_bearing_or_slenderness() -> None:
    chuck_only = {"overhang", "radial-load", "axial-load", "tailstock-load", "unsupported-length"}
    assert names(report(roller_machine(), acceleration=20.0)).isdisjoint(chuck_only)


@pytest.mark.parametrize(
    ("changes", "length", "ratio", "limit"),
    [
        pytest.param({}, "150 mm", 2.5, 3.0, id="overhung"),
        pytest.param(TAILSTOCK, "420 mm", 7.0, 10.0, id="between supports"),
    ],
)
def test_the_unsupported_length_is_counted_in_diameters(
    changes: dict[str, Any], length: str, ratio: float, limit: float
) -> None:
    check = named(report(machine(**changes), job(part__length=length)), "unsupported-length")
    assert check.value == pytest.approx(ratio)
    assert check.limit == limit
    assert "common practice, no source" in check.source


def test_a_stepped_shaft_is_as_slender_as_its_thinnest_step() -> None:
    steps = [{"diameter": "60 mm", "length": "50 mm"}, {"diameter": "20 mm", "length": "50 mm"}]
    part = {"kind": "stepped", "diameter": "60 mm", "cylinders": steps, "mass": "1 kg", "mass_offset": "0 mm"}
    assert named(report(work=job(part=part)), "unsupported-length").value == pytest.approx(100 / 20)


@pytest.mark.parametrize(
    ("rig", "work", "expected"),
    [
        pytest.param(machine(support__largest_radial_load="50 N"), job(), {"radial-load"}, id="small bearing"),
        pytest.param(
            machine(**(TAILSTOCK | {"support__tailstock_force": "400 N"})), job(), {"axial-load"}, id="pressed hard"
        ),
        pytest.param(
            machine(**(TAILSTOCK | {"support__largest_tailstock_load": "8 N"})), job(), {"tailstock-load"}, id="centre"
        ),
        pytest.param(
            machine(motor__detent_torque="0.5 N*mm", gearing__0__self_locking=False),
            job(),
            {"power-off"},
            id="spins back",
        ),
    ],
)
def test_each_limit_fails_for_its_own_cause_alone(rig: Any, work: Any, expected: set[str]) -> None:
    found = report(rig, work)
    assert {check.name for check in found.checks if check.verdict is Verdict.FAILS} == expected


@pytest.mark.parametrize(
    ("changes", "verdict", "words"),
    [
        pytest.param({}, Verdict.HOLDS, "it stays", id="detent holds"),
        pytest.param({"motor__detent_torque": "0.5 N*mm"}, Verdict.FAILS, "it spins back", id="nothing holds"),
        pytest.param(
            {"motor__detent_torque": "0.5 N*mm", "gearing__0__self_locking": True},
            Verdict.EXCEEDED,
            "it creeps",
            id="only the stage holds",
        ),
        pytest.param(
            {"motor__detent_torque": DELETE, "gearing__0__self_locking": True},
            Verdict.HOLDS,  # at least a fiftieth of the holding torque, 20 N mm
            "<= detent torque",
            id="detent not stated",
        ),
    ],
)
def test_power_off_says_whether_the_part_stays(changes: dict[str, Any], verdict: Verdict, words: str) -> None:
    # m g e/n = 2.2*9.80665*0.0002/4 = 1.08 N mm.
    check = named(report(machine(**({"gearing__0__self_locking": False} | changes))), "power-off")
    assert check.value == pytest.approx(2.2 * G * 0.0002 / 4)
    assert check.verdict is verdict
    assert words in check.formula


@pytest.mark.parametrize(
    ("rig", "work", "name", "asked_for"),
    [
        pytest.param(machine(drive__mass=DELETE), job(), "radial-load", "drive.mass", id="chuck's mass, radial"),
        pytest.param(machine(drive__mass=DELETE), job(), "overhang", "drive.mass", id="chuck's mass, moment"),
        pytest.param(
            machine(support__bearing_spacing=DELETE), job(), "radial-load", "support.bearing_spacing", id="spacing"
        ),
        pytest.param(
            machine(**(ON_THE_SHAFT | {"motor__radial_load_at": DELETE})),
            job(),
            "radial-load",
            "motor.radial_load_at",
            id="where the rating holds",
        ),
        pytest.param(
            machine(**without("support__tailstock_force")),
            job(),
            "axial-load",
            "support.tailstock_force",
            id="force",
        ),
        pytest.param(
            machine(**without("support__largest_tailstock_load")),
            job(),
            "tailstock-load",
            "support.largest_tailstock_load",
            id="centre",
        ),
        pytest.param(
            machine(motor__detent_torque="0.5 N*mm"), job(), "power-off", "gearing.belt.self_locking", id="locking"
        ),
    ],
)
def test_without_its_data_a_limit_is_not_known_and_says_what_to_give(
    rig: Any, work: Any, name: str, asked_for: str
) -> None:
    check = named(report(rig, work, acceleration=10.0), name)
    assert check.verdict is Verdict.NOT_KNOWN
    assert asked_for in check.remedy
