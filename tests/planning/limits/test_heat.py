"""Limits of heat and supply, by hand arithmetic, for their own causes, and not known without their data."""

import math
from typing import Any

import pytest
from scipy import constants

from firmware_host.planning.limits.check import Verdict, told_unknown
from tests.planning.limits.report import named, report
from tests.planning.limits.workshop import DELETE, job, machine

# 2 A peak in 1 ohm: 4 W; 8 K/W; copper 3.93e-3/K from 20 degC (IEC 60028); air of 40 degC.
COLD = 4.0 * 8.0
RISE = COLD * (1 + 3.93e-3 * 20) / (1 - 3.93e-3 * COLD)
# Iron loss as large as 4 W of copper loss at 800 Hz of 50 teeth (from memory): 960 rpm. A triangle of 30 deg at
# 60 rad/s^2, geared 4:1, has half of its peak as its mean.
MOVING = 4.0 * (1 + 4 * math.sqrt(2 * math.pi / 12 * 60) / 2 / (960 * 2 * math.pi / 60))


def test_holding_for_ever_warms_by_the_hand_worked_rise() -> None:
    check = named(report(), "heat-holding")
    assert check.value == pytest.approx(RISE)
    assert check.limit == pytest.approx(90.0)
    assert check.margin == pytest.approx(1 - RISE / 90)


def test_a_reduced_standstill_current_counts_by_its_square_only_while_holding() -> None:
    rig = machine(driver__standstill_current=0.5)
    found = report(rig)
    cold = COLD / 4
    assert named(found, "heat-holding").value == pytest.approx(cold * 1.0786 / (1 - 3.93e-3 * cold))
    cold = 8.0 * MOVING  # an operator's pause is not known: none counted
    assert named(found, "heat-cycle").value == pytest.approx(cold * 1.0786 / (1 - 3.93e-3 * cold))


def test_a_timed_pass_cools_the_cycle_by_its_share() -> None:
    rig = machine(driver__standstill_current=0.5)
    work = job(
        gate={"kind": "timed", "duration": "3 s"}, mark={"angle": "360 deg", "passes": 2}, index={"settle": "1 s"}
    )
    move = 2 * math.sqrt(2 * math.pi / 12 / 60)  # a triangle of 30 deg at 60 rad/s^2
    cold = 8.0 * (MOVING * move + 1.0 * 7.0) / (move + 7.0)
    assert named(report(rig, work), "heat-cycle").value == pytest.approx(cold * 1.0786 / (1 - 3.93e-3 * cold))


def test_a_pass_time_cools_the_cycle_of_any_gate_and_the_longer_of_two_counts() -> None:
    rig, timed = machine(driver__standstill_current=0.5), {"kind": "timed", "duration": "3 s"}
    stated = named(report(rig, job(mark={"angle": "360 deg", "pass_time": "3 s"})), "heat-cycle").value
    assert stated == pytest.approx(named(report(rig, job(gate=timed)), "heat-cycle").value)
    shorter = job(gate=timed, mark={"angle": "360 deg", "pass_time": "1 s"})
    assert named(report(rig, shorter), "heat-cycle").value == pytest.approx(stated)


def test_a_stop_charges_the_supply_by_the_kinetic_energy_and_the_fall_of_the_imbalance() -> None:
    found = report()
    part = 2.2 * 0.03**2 / 2 + 2.2 * 0.0002**2
    speed = math.sqrt(2 * math.pi / 12 * 60)
    energy = (2.2e-5 * 16 + 3e-4 + 5e-4 + part) * speed**2 / 2 + 2 * 2.2 * constants.g * 0.0002
    check = named(found, "supply-voltage")
    assert check.value == pytest.approx(energy)
    assert check.limit == pytest.approx(4.7e-3 / 2 * (60**2 - 24**2))
    volts = math.sqrt(24**2 + 2 * energy / 4.7e-3)
    assert f"at most {volts:.4g} V" in check.formula


def test_what_brings_the_supply_to_its_highest_voltage_is_all_it_takes_up() -> None:
    # 0.01 m F from 24 V to 26 V: 5e-6 * (676 - 576) = 0.5 mJ. The stop of the test part sends back far more.
    check = named(
        report(machine(driver__supply_capacitance="10 uF", driver__highest_supply_voltage="26 V")), "supply-voltage"
    )
    assert check.limit == pytest.approx(0.5e-3)
    assert check.verdict is Verdict.FAILS


def test_the_supply_pays_for_motion_and_copper() -> None:
    found = report()
    speed = 4 * math.sqrt(2 * math.pi / 12 * 60)
    torque = named(found, "torque-accelerating").value
    assert torque is not None
    assert named(found, "supply-current").value == pytest.approx((torque * speed + 4.0) / 24)


@pytest.mark.parametrize(
    ("rig", "expected"),
    [
        pytest.param(machine(motor__thermal_resistance="20 K/W"), {"heat-holding", "heat-cycle"}, id="badly cooled"),
        pytest.param(machine(motor__ambient="110 degC"), {"heat-holding", "heat-cycle"}, id="hot air"),
        pytest.param(
            machine(motor__thermal_resistance="20 K/W", driver__standstill_current=0.3),
            {"heat-cycle"},
            id="moving only",
        ),
        pytest.param(machine(driver__supply_current="0.2 A"), {"supply-current"}, id="weak supply"),
        pytest.param(
            machine(driver__supply_capacitance="47 uF", driver__highest_supply_voltage="36 V"),
            {"supply-voltage"},
            id="small capacitor",
        ),
    ],
)
def test_each_limit_fails_for_its_own_cause_alone(rig: Any, expected: set[str]) -> None:
    found = report(rig)
    assert {check.name for check in found.checks if check.verdict is Verdict.FAILS} == expected
    assert found.verdict is Verdict.FAILS


def test_a_winding_that_runs_away_fails() -> None:
    check = named(report(machine(motor__thermal_resistance="80 K/W")), "heat-holding")
    assert check.verdict is Verdict.FAILS
    assert check.value == math.inf


@pytest.mark.parametrize(
    ("key", "unknown", "asked_for"),
    [
        pytest.param("driver__supply_capacitance", {"supply-voltage"}, "driver.supply_capacitance", id="capacitance"),
        pytest.param(
            "driver__highest_supply_voltage", {"supply-voltage"}, "driver.highest_supply_voltage", id="voltage"
        ),
        pytest.param("driver__supply_current", {"supply-current"}, "driver.supply_current", id="current"),
    ],
)
def test_without_its_data_a_limit_is_not_known_and_says_what_to_give(
    key: str, unknown: set[str], asked_for: str
) -> None:
    found = report(machine(**{key: DELETE}))
    assert {check.name for check in found.checks if check.verdict is Verdict.NOT_KNOWN} == unknown
    assert all(named(found, name).remedy == f"Give {asked_for}" for name in unknown)
    assert found.verdict is Verdict.HOLDS
    assert told_unknown(found.checks) == tuple(unknown)


def test_a_motor_that_says_nothing_of_its_heat_is_taken_by_its_rating() -> None:
    # Rated current in both phases for ever, 100 K: R_th 2 I^2 R (1 + 3.93e-3 * 100) = 100 K. In microsteps the phases
    # carry half of that, in air of 40 degC, and a winding of class 105 (IEC 60085) bears 65 K.
    bare = {f"motor__{key}": DELETE for key in ("thermal_resistance", "ambient", "highest_temperature")}
    check = named(report(machine(**bare)), "heat-holding")
    cold = 100 / (1 + 0.393) / 2
    assert check.value == pytest.approx(cold * (1 + 3.93e-3 * 20) / (1 - 3.93e-3 * cold), rel=1e-3)
    assert check.limit == 65.0
    assert check.assumed == ("motor.thermal_resistance", "motor.highest_temperature", "motor.ambient")
