"""A tilted axis (`axis.tilt`): by hand arithmetic from the components of the weight, level machines unchanged."""

from __future__ import annotations

from math import cos, hypot, pi, radians, sin, sqrt, tan
from typing import Any

import pytest
from scipy import constants

from firmware_host.model import Machine
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.load.case import load_case
from tests.planning.limits.report import named, names, report
from tests.planning.limits.test_supports import ON_THE_SHAFT, TAILSTOCK
from tests.planning.limits.workshop import MACHINE, changed, job, machine, roller_machine

G = constants.g
TILTS = [pytest.param(tilt, id=f"{tilt} deg") for tilt in (0, 30, 60, 90)]


def tilted(degrees: float, **changes: Any) -> Machine:
    return machine(axis={"tilt": f"{degrees} deg"}, **changes)


def rolling(degrees: float, **changes: Any) -> Machine:
    return machine(axis={"tilt": f"{degrees} deg"}, drive=roller_machine(**changes).drive.model_dump(), gearing=[])


@pytest.mark.parametrize("tilt", TILTS)
def test_imbalance_overhang_and_bearings_feel_what_of_the_weight_pulls_across(tilt: int) -> None:
    across, along = G * cos(radians(tilt)), G * sin(radians(tilt))
    rig = tilted(tilt)
    assert load_case(rig, job()).imbalance_torque == pytest.approx(2.2 * across * 0.2e-3, abs=1e-15)
    found = report(rig)
    tipping = 2.2 * along * 0.2e-3
    assert named(found, "overhang").value == pytest.approx(across * (2.2 * 0.09 + 1.0 * 0.04) + tipping)
    bearing = across * (2.2 * (1 + 90 / 50) + 1.0 * (1 + 40 / 50)) + tipping / 0.05
    assert named(found, "radial-load").value == pytest.approx(bearing)
    ratio = float(rig.reduction)
    assert named(found, "holding-torque").value == pytest.approx(2.2 * across * 0.2e-3 / ratio, abs=1e-15)


def test_a_weight_along_the_axis_loads_the_spindle_and_a_tailstock_presses_on_top() -> None:
    assert "axial-load" not in names(report())
    upright = named(report(tilted(90, support__largest_axial_load="60 N")), "axial-load")
    assert upright.value == pytest.approx(3.2 * G)
    pressed = named(report(tilted(30, **TAILSTOCK)), "axial-load")
    assert pressed.value == pytest.approx(100 + 3.2 * G / 2)
    on_motor = named(report(tilted(90, **ON_THE_SHAFT), acceleration=10.0), "axial-load")
    assert (on_motor.limit, on_motor.verdict) == (20.0, Verdict.FAILS)
    assert named(report(tilted(90)), "axial-load").missing == ("support.largest_axial_load",)


def test_a_tailstock_bears_what_pulls_across() -> None:
    assert named(report(tilted(60, **TAILSTOCK)), "tailstock-load").value == pytest.approx(2.2 * G / 2 / 2)


def test_a_part_of_unknown_chuck_mass_is_a_lower_bound_along_the_axis_too() -> None:
    rig = Machine.model_validate(changed(MACHINE, {"axis": {"tilt": "10 deg"}, "support.largest_axial_load": "60 N"}))
    bare = rig.model_copy(update={"drive": rig.drive.model_copy(update={"mass": None})})
    assert named(report(bare), "axial-load").missing == ("drive.mass",)


def test_what_lets_go_without_power_is_what_pulls_across() -> None:
    level, upright = named(report(), "power-off"), named(report(tilted(90)), "power-off")
    assert level.value == pytest.approx(2.2 * G * 0.2e-3 / float(machine().reduction))
    assert upright.value == pytest.approx(0.0, abs=1e-15)


def test_a_level_axis_is_what_it_was() -> None:
    assert report(tilted(0)).checks == report().checks


def test_an_axis_beyond_upright_and_upright_rollers_are_refused() -> None:
    with pytest.raises(ValueError, match="beyond upright"):
        tilted(91)
    with pytest.raises(ValueError, match="nothing lies on rollers at 90 deg"):
        rolling(90)


# --- rollers ---------------------------------------------------------------------------------------------------------

HALF_ANGLE = 45 / 85
STOPPED = {"axial_stop": True}


def test_less_weight_presses_on_tilted_rollers_so_less_grips() -> None:
    # Without friction of rolling and without imbalance the traction stays J alpha/r, and the normals are nearly halved.
    smooth = STOPPED | {"rolling_resistance": "0.1 um", "stop_friction_torque": "0 N*m"}
    level, steep = (report(rolling(t, **smooth), job(part__mass_offset="0 mm"), acceleration=5.0) for t in (0, 60))
    assert load_case(rolling(60, **STOPPED), job()).trough.weight == pytest.approx(2.2 * G / 2)  # type: ignore[union-attr]
    assert named(steep, "grip").value == pytest.approx(2 * named(level, "grip").value, rel=0.05)  # type: ignore[operator]
    assert "axial-slide" not in names(steep)


def test_a_part_slides_down_its_rollers_where_friction_does_not_hold_it() -> None:
    # m g sin(tilt) against mu m g cos(tilt)/cos(beta): sin(beta) = 45/85, mu = 0.4.
    for tilt, verdict in ((15, Verdict.HOLDS), (26, Verdict.FAILS)):
        found = report(rolling(tilt, contact_width="0.2 mm"), acceleration=1.0)
        check = named(found, "axial-slide")
        assert check.value == pytest.approx(tan(radians(tilt)) * sqrt(1 - HALF_ANGLE**2))
        assert (check.limit, check.verdict) == (0.4, verdict)
        assert ("axial-walk" in names(found)) is (tilt == 15)


def test_what_keeps_it_from_sliding_is_lost_to_the_traction() -> None:
    along = tan(radians(15)) * sqrt(1 - HALF_ANGLE**2)
    free, stopped = (load_case(rolling(15, **keys), job()) for keys in ({}, STOPPED))
    assert stopped.friction == 0.4
    assert hypot(free.friction, along) == pytest.approx(0.4)
    assert "sliding along its tilted axis" in free.friction_source


def test_a_rolling_part_creeps_down_a_tilted_axis_and_that_is_no_rule_of_thumb() -> None:
    # Carter's line contact at the share of the grip that the slope takes, twice as soft sideways, pi D a turn.
    rig = rolling(10, contact_width="0.2 mm")
    check = named(report(rig, acceleration=5.0), "axial-walk")
    along = tan(radians(10)) * sqrt(1 - HALF_ANGLE**2)
    creep = 0.4 * 0.1e-3 * (2 / 0.06 + 2 / 0.025) * (1 - sqrt(1 - along / 0.4))
    assert check.value == pytest.approx(2 * creep * pi * 0.06 / 12)
    assert (check.verdict, check.stops) == (Verdict.FAILS, True)
    unknown = named(report(rolling(10), acceleration=5.0), "axial-walk")
    assert (unknown.missing, unknown.stops) == (("drive.contact_width",), True)
    assert "axial-walk" not in names(report(rolling(10, **STOPPED), acceleration=5.0))


def test_a_part_that_slides_gets_a_plan_that_says_so() -> None:
    rig = rolling(35, contact_width="0.2 mm")
    found = report(rig, speed=None, acceleration=None)
    check = named(found, "axial-slide")
    assert (found.verdict, check.stops) == (Verdict.FAILS, True)
    assert check.remedy.startswith("Set drive.axial_stop = true")


def test_a_stop_below_a_tilted_part_rubs_and_takes_of_grip_and_torque() -> None:
    # A plain stop at the rim, coefficient 0.15, under m g sin(30 deg): what it takes at the rim is traction as well.
    rubs = 0.15 * 2.2 * G / 2 * 0.03
    work = job(part__mass_offset="0 mm")
    assumed, free = (
        load_case(rolling(30, **STOPPED, **keys), work) for keys in ({}, {"stop_friction_torque": "0 N*m"})
    )
    assert assumed.trough.stop_torque == pytest.approx(rubs, rel=1e-3)  # type: ignore[union-attr]
    assert assumed.friction_torque - free.friction_torque == pytest.approx(rubs, rel=0.05)
    ours, without = (
        named(report(rolling(30, **STOPPED, rolling_resistance="0.1 um", **keys), work, acceleration=1e-6), "grip")
        for keys in ({}, {"stop_friction_torque": "0 N*m"})
    )
    # F = T/r on the driven row; the rows' normals by the plane equilibrium, the idle row dragging nothing.
    sine, cosine, weight, traction = HALF_ANGLE, sqrt(1 - HALF_ANGLE**2), 2.2 * G * cos(radians(30)), rubs / 0.03
    total = (weight + sine * traction) / cosine
    assert ours.value == pytest.approx(traction / ((total - traction * cosine / sine) / 2), rel=2e-3)
    assert without.value == pytest.approx(0.0, abs=1e-3)


def test_a_stop_s_friction_without_a_stop_is_refused_and_a_level_one_needs_none() -> None:
    with pytest.raises(ValueError, match="there is no stop; set axial_stop = true"):
        rolling(0, stop_friction_torque="0.01 N*m")
    assert load_case(rolling(0, **STOPPED), job()).trough.stop_torque == 0.0  # type: ignore[union-attr]


def test_a_stop_that_rubs_harder_than_two_driven_rows_can_carry_fails_the_grip_and_is_no_error() -> None:
    rig = rolling(30, **STOPPED, driven_rows=2, stop_friction_torque="0.5 N*m")
    found = report(rig, acceleration=1.0)
    assert named(found, "grip").verdict is Verdict.FAILS
    assert named(found, "torque-accelerating").value > 0.2  # type: ignore[operator]
