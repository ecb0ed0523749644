"""The load case against kinetic energy and power written out body by body."""

import math

import numpy as np
import pytest
from scipy import constants

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.motor.torque import Winding, pull_out_from_winding
from firmware_host.planning.load.case import load_case
from tests.planning.limits.workshop import DELETE, assumed, job, machine, roller_machine


def test_the_reflected_items_sum_to_the_inertia_that_holds_the_kinetic_energy() -> None:
    load = load_case(machine(), job())
    part = 2.2 * 0.03**2 / 2 + 2.2 * 0.0002**2
    motor_speed, part_speed = 40.0, 10.0
    energy = 2e-6 * motor_speed**2 + (3e-4 + 5e-4 + part) * part_speed**2
    assert load.reflected_inertia * motor_speed**2 == pytest.approx(energy, rel=1e-12)
    assert sum(item.reflected for item in load.items) == pytest.approx(load.reflected_inertia, rel=1e-12)
    assert [item.name for item in load.items] == ["belt", "chuck", "part"]
    assert load.ratio == 4.0
    assert load.efficiency == 0.9


def test_rollers_turn_faster_than_the_part_and_count_accordingly() -> None:
    load = load_case(roller_machine(), job(part__contact_diameter="50 mm"))
    part = 2.2 * 0.03**2 / 2 + 2.2 * 0.0002**2
    part_speed = 3.0
    roller_speed = part_speed * 50 / 25
    energy = part * part_speed**2 + 2 * 4e-6 * roller_speed**2
    assert load.ratio == 2.0
    assert load.reflected_inertia * roller_speed**2 == pytest.approx(energy, rel=1e-12)
    assert sum(item.reflected for item in load.items) == pytest.approx(load.reflected_inertia, rel=1e-12)


def test_friction_on_rollers_is_bearings_and_rolling_by_power() -> None:
    load = load_case(roller_machine(), job())
    turns = 60 / 25
    weight = 2.2 * constants.g
    half_angle = math.asin(45 / (60 + 25))
    rolling = 0.1e-3 * weight / math.cos(half_angle) * (1 + turns)
    # Normals in motion differ from those at rest by the share of the traction, here below 2 %.
    assert load.friction_torque == pytest.approx(rolling + 0.005 * turns, rel=0.02)


def test_the_torque_at_the_motor_is_newton_s_law_through_the_belt() -> None:
    load = load_case(machine(), job())
    a = 50.0
    part = 2.2 * 0.03**2 / 2 + 2.2 * 0.0002**2
    beyond = (3e-4 + 5e-4 + part) * a + 0.1 + 2.2 * constants.g * 0.0002
    expected = (2e-5 + 2e-6) * a * 4 + beyond / (4 * 0.9)
    assert float(load.torque(a).accelerating) == pytest.approx(expected, rel=1e-12)
    hard = 200.0  # enough that the load drives the motor while it brakes, and friction and losses help
    helped = ((3e-4 + 5e-4 + part) * hard - 0.1 + 2.2 * constants.g * 0.0002) * 0.9 / 4
    assert float(load.torque(hard).braking) == pytest.approx((2e-5 + 2e-6) * hard * 4 + helped, rel=1e-12)


def test_a_weighed_mass_beats_density_and_density_serves_without_it() -> None:
    computed = 7860 * math.pi * 0.03**2 * 0.1
    weighed = load_case(machine(), job())
    assert weighed.mass == 2.2
    assert weighed.mass_disagreement == pytest.approx((computed - 2.2) / 2.2)
    unweighed = load_case(machine(), job(part__mass=DELETE))
    assert unweighed.mass == pytest.approx(computed)
    assert unweighed.mass_disagreement is None


def test_pull_out_is_read_from_the_curve_at_the_motor_s_speed() -> None:
    load = load_case(machine(driver__current="1.0 A", driver__supply_voltage="48 V"), job())
    # Half the current, twice the voltage: the point at 40 rad/s moves to 80, which is 20 rad/s of the part.
    assert load.pull_out(np.array([20.0, 5.0, 51.0])) == pytest.approx([0.3, 0.4, 0.0])


def test_a_curve_taken_at_less_than_rated_current_scales_up_to_the_set_current() -> None:
    load = load_case(machine(motor__torque_curve__current="1.6 A"), job())
    assert float(load.pull_out(10.0)) == pytest.approx(0.6 * 2.0 / 1.6)


@pytest.mark.parametrize(
    ("rows", "idle"), [pytest.param(1, 4e-6, id="one of two rollers idle"), pytest.param(2, 0.0, id="both driven")]
)
def test_idle_rollers_load_the_grip_with_their_inertia(rows: int, idle: float) -> None:
    trough = load_case(roller_machine(driven_rows=rows), job()).trough
    assert trough is not None
    assert trough.idle_row_inertia == pytest.approx(idle)


def test_without_a_curve_the_winding_serves() -> None:
    load = load_case(machine(motor__torque_curve=DELETE), job())
    k = 1.0 / (math.sqrt(2) * 2.0)
    assert float(load.pull_out(0.0)) == pytest.approx(k * 2.0)
    winding = Winding(resistance=1.0, inductance=2e-3, torque_constant=k, rotor_teeth=50)
    expected = pull_out_from_winding(100.0, winding, peak_current=2.0, voltage=24.0)
    assert 0 < float(expected) < k * 2.0
    assert float(load.pull_out(25.0)) == pytest.approx(float(expected), rel=1e-12)


def test_a_motor_with_neither_curve_nor_windings_is_as_slow_as_the_slowest_of_its_frame_size() -> None:
    # 42 mm: at most 6.5 W of one phase at 2 A and 3 ms of L/R, so 1.625 ohm and 4.875 mH.
    bare = {"motor__torque_curve": DELETE, "motor__inductance": DELETE, "motor__resistance": DELETE}
    rig = machine(motor__frame="42 mm", **bare)
    load = load_case(rig, job())
    slowest = Winding(1.625, 4.875e-3, 1.0 / math.sqrt(2) / 2.0, 50)
    expected = pull_out_from_winding(100.0, slowest, peak_current=2.0, voltage=24.0)
    assert float(load.pull_out(25.0)) == pytest.approx(float(expected), rel=1e-3)
    assert assumed(rig, job()) == ("motor.resistance", "motor.inductance")


def test_the_lowest_pull_out_on_the_way_sees_a_dip_in_the_curve() -> None:
    dip = [
        {"speed": "10 rad/s", "torque": "0.8 N*m"},
        {"speed": "20 rad/s", "torque": "0.2 N*m"},
        {"speed": "40 rad/s", "torque": "0.7 N*m"},
        {"speed": "100 rad/s", "torque": "0.1 N*m"},
    ]
    load = load_case(machine(motor__torque_curve__points=dip), job())
    assert load.lowest_pull_out(9.7) == pytest.approx(0.2, rel=1e-12)
    assert load.lowest_pull_out(4.0) == pytest.approx(0.44)


def test_natural_frequency_uses_the_torque_at_the_set_current() -> None:
    load = load_case(machine(driver__current="1.0 A"), job())
    inertia = 2e-5 + load.reflected_inertia
    assert load.running_torque == pytest.approx(1.0 / math.sqrt(2) / 2)
    assert load.natural_frequency == pytest.approx(math.sqrt(50 * load.running_torque / inertia))


def test_what_nobody_gave_is_named() -> None:
    found = assumed(
        machine(
            gearing__0__efficiency=DELETE,
            gearing__0__driven_inertia=DELETE,
            drive__friction_torque=DELETE,
            support__tailstock=True,
        ),
        job(part__mass_offset=DELETE),
    )
    assert found == (
        "gearing.belt.efficiency",
        "gearing.belt.driven_inertia",
        "drive.friction_torque",
        "support.friction_torque",
        "part.mass_offset",
    )


def test_a_part_that_falls_through_the_rollers_is_refused() -> None:
    with pytest.raises(FormulaRangeError, match="falls through between the rollers"):
        load_case(roller_machine(), job(part__diameter="20 mm"))
