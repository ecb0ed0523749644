"""What a machine may say of heat, supply and surfaces, and what contradicts itself."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from firmware_host.errors import InputError
from firmware_host.planning.load.case import load_case
from tests.planning.limits.report import named, report
from tests.planning.limits.workshop import assumed, job, machine, roller_machine


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        pytest.param({"motor__ambient": "130 degC"}, "130 degC is not below highest_temperature", id="air as hot"),
        pytest.param({"motor__ambient": "40 K"}, "'K' is not a unit of temperature", id="kelvin"),
        pytest.param(
            {"driver__highest_supply_voltage": "20 V"}, "20 V is below supply_voltage 24 V", id="supply too high"
        ),
        pytest.param({"motor__thermal_resistance": "0 K/W"}, "greater than zero", id="perfect cooling"),
        pytest.param({"drive__mass": "2 N"}, "not a unit of mass", id="weight for a mass"),
    ],
)
def test_a_machine_that_contradicts_itself_is_refused(changes: dict[str, Any], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        machine(**changes)


def test_rollers_that_say_neither_friction_nor_surfaces_grip_as_badly_as_a_covered_one_may() -> None:
    found = report(roller_machine(friction=None), acceleration=1.0)
    assert named(found, "grip").limit == 0.3
    assert named(found, "grip").assumed == ("drive.friction",)


def test_surfaces_stand_for_the_low_end_of_the_tabulated_friction_and_quote_the_table() -> None:
    # Engineering Guide CDA3000 (Lust Antriebstechnik), Appendix A: plastic on steel 0.20 to 0.45 (table 7.21), lever
    # arm of rolling 2 mm (table 7.22).
    rig = roller_machine(friction=None, rolling_resistance=None, surfaces="plastic_on_steel")
    load = load_case(rig, job())
    assert load.friction == 0.20
    assert load.trough is not None
    assert load.trough.lever_arm == pytest.approx(2e-3)
    assert assumed(rig, job()) == ()
    assert "low end of 0.2 to 0.45" in named(report(rig, acceleration=5.0), "grip").source
    assert "table 7.21" in named(report(rig, acceleration=5.0), "grip").source


def test_what_is_stated_beats_the_table() -> None:
    rig = roller_machine(friction=0.33, rolling_resistance="0.2 mm", surfaces="plastic_on_steel")
    load = load_case(rig, job())
    assert (load.friction, load.friction_source) == (0.33, "drive.friction")
    assert load.trough is not None
    assert load.trough.lever_arm == pytest.approx(2e-4)


def test_surfaces_without_a_tabulated_lever_arm_roll_as_heavily_as_a_soft_roller_may() -> None:
    rig = roller_machine(friction=None, rolling_resistance=None, surfaces="plastic_belt_on_steel")
    load = load_case(rig, job())
    assert assumed(rig, job()) == ("drive.rolling_resistance",)
    assert load.trough is not None
    assert load.trough.lever_arm == pytest.approx(0.05 * 0.0125)


def test_unknown_surfaces_name_the_nearest_and_their_key() -> None:
    with pytest.raises(
        InputError, match=r"drive\.surfaces: no tabulated static friction.*Did you mean 'steel_on_steel'"
    ):
        load_case(roller_machine(friction=None, surfaces="stel_on_steel"), job())
