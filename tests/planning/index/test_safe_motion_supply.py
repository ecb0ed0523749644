"""The chosen motion keeps what the supply gives and takes back; where no motion could, none is refused for it."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants

from firmware_host.planning.limit_report import LimitReport, check_limits
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.load.case import load_case
from tests.planning.index.workshop import safe_motion
from tests.planning.limits.report import named
from tests.planning.limits.workshop import DELETE, job, machine

PART = 2.2 * 0.03**2 / 2 + 2.2 * 0.0002**2
AT_PART = 2.2e-5 * 16 + 3e-4 + 5e-4 + PART
FALL = 2 * 2.2 * constants.g * 0.0002
LONG = np.array([1.0])


def chosen(rig: Any, work: Any = None) -> LimitReport:
    return check_limits(rig, work or job(), index_turns=LONG, speed=None, acceleration=None)


def test_a_small_capacitor_binds_the_speed_at_four_fifths_of_its_energy() -> None:
    # 470 uF from 24 V to 36 V: 235e-6 * 720 = 169.2 mJ; a fifth is kept, the imbalance comes down by 8.6 mJ.
    found = chosen(machine(driver__supply_capacitance="470 uF", driver__highest_supply_voltage="36 V"))
    assert "supply-voltage" in found.motion.binding
    speed = math.sqrt(2 * (0.8 * 0.1692 - FALL) / AT_PART)
    assert found.motion.speed == pytest.approx(speed, rel=2e-3)
    check = named(found, "supply-voltage")
    assert check.verdict is Verdict.HOLDS
    assert check.margin == pytest.approx(0.2, abs=4e-3)


def test_a_weak_supply_binds_torque_times_speed() -> None:
    # 0.5 A at 24 V: 12 W, of which 9.6 W may be used and the winding takes 4 W.
    found = chosen(machine(driver__supply_current="0.5 A"))
    assert "supply-current" in found.motion.binding
    torque = float(load_case(machine(), job()).torque(found.motion.acceleration).accelerating)
    assert torque * found.motion.speed * 4 == pytest.approx(5.6, rel=5e-3)
    check = named(found, "supply-current")
    assert check.verdict is Verdict.HOLDS
    assert check.margin == pytest.approx(0.2, abs=4e-3)


@pytest.mark.parametrize(
    ("amperes", "watts"),
    [
        # The winding takes 4 W. Of 5.76 W four fifths leave 0.608 W, a fifth of the rest is 0.352 W; of 4.8 W four
        # fifths leave nothing, a fifth of the rest is 0.16 W.
        pytest.param("0.24 A", 0.608, id="the reserve leaves more"),
        pytest.param("0.2 A", 0.16, id="a fifth of the rest is more"),
    ],
)
def test_near_the_limit_a_motion_may_use_a_fifth_of_what_is_left(amperes: str, watts: float) -> None:
    found = chosen(machine(driver__supply_current=amperes))
    torque = float(load_case(machine(), job()).torque(found.motion.acceleration).accelerating)
    assert torque * found.motion.speed * 4 == pytest.approx(watts, rel=1e-2)
    assert named(found, "supply-current").verdict is (Verdict.NARROW if amperes == "0.2 A" else Verdict.HOLDS)


@pytest.mark.parametrize(
    ("rig", "work", "name"),
    [
        pytest.param(machine(driver__supply_current="0.15 A"), job(), "supply-current", id="winding alone takes more"),
        pytest.param(
            machine(driver__supply_capacitance="10 uF", driver__highest_supply_voltage="26 V"),
            job(),
            "supply-voltage",
            id="imbalance alone sends back more",
        ),
    ],
)
def test_what_no_motion_could_keep_slows_none_and_fails(rig: Any, work: Any, name: str) -> None:
    found = chosen(rig, work)
    assert {check.name for check in found.checks if check.verdict is Verdict.FAILS} == {name}
    assert found.motion == chosen(machine()).motion


@pytest.mark.parametrize(
    "key", ["driver__supply_current", "driver__supply_capacitance", "driver__highest_supply_voltage"]
)
def test_without_its_data_a_supply_binds_nothing_and_is_not_known(key: str) -> None:
    found = chosen(machine(**{key: DELETE}))
    assert not {"supply-current", "supply-voltage"} & set(found.motion.binding)
    name = "supply-current" if key.endswith("supply_current") else "supply-voltage"
    assert named(found, name).verdict is Verdict.NOT_KNOWN
    assert not found.verdict.stops, "told, and no reason to stand still"


def test_a_stated_speed_beyond_the_supply_is_kept_and_fails() -> None:
    rig = machine(driver__supply_capacitance="470 uF", driver__highest_supply_voltage="36 V")
    found = check_limits(rig, job(), index_turns=LONG, speed=16.0, acceleration=None)
    assert found.motion.speed == 16.0
    assert named(found, "supply-voltage").verdict is Verdict.FAILS


few = settings(max_examples=25, deadline=None, derandomize=True)


@few
@given(
    st.floats(min_value=0.18, max_value=3.0),
    st.floats(min_value=30.0, max_value=3000.0),
    st.floats(min_value=25.0, max_value=60.0),
    st.floats(min_value=0.01, max_value=2.0),
)
def test_whatever_the_supply_the_choice_breaks_none_of_its_limits_that_a_motion_can_keep(
    amperes: float, microfarads: float, volts: float, turns: float
) -> None:
    rig = machine(
        driver__supply_current=f"{amperes} A",
        driver__supply_capacitance=f"{microfarads} uF",
        driver__highest_supply_voltage=f"{volts} V",
    )
    found = check_limits(rig, job(), index_turns=np.array([turns]), speed=None, acceleration=None)
    assert named(found, "supply-current").verdict is not Verdict.FAILS  # 0.17 A feed the winding
    if microfarads * 1e-6 * (volts**2 - 24**2) / 2 > FALL:
        assert named(found, "supply-voltage").verdict is not Verdict.FAILS


@few
@given(st.floats(min_value=1.05, max_value=5.0), st.sampled_from(["supply_current", "supply_capacitance"]))
def test_less_of_a_supply_never_makes_the_chosen_index_quicker(factor: float, key: str) -> None:
    unit, most = {"supply_current": ("A", 1.0), "supply_capacitance": ("uF", 500.0)}[key]
    taken = [
        safe_motion(
            load_case(
                machine(**{f"driver__{key}": f"{value} {unit}", "driver__highest_supply_voltage": "30 V"}), job()
            ),
            LONG,
        ).timing.index_s
        for value in (most, most / factor)
    ]
    assert taken[0] <= taken[1] * 1.005  # the search's own coarseness
