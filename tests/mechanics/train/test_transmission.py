"""Torque at the motor against power balances, a published servo example and Newton's equations of every shaft."""

import math

import numpy as np
import pytest

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.constants import STANDARD_GRAVITY
from firmware_host.mechanics.train.transmission import (
    Stage,
    inertia_at_motor,
    reflect,
    torque_at_motor,
    total_efficiency,
    worst_torque,
)

TWO_STAGES = (
    Stage(ratio=3.0, efficiency=0.95, input_inertia=2e-6, output_inertia=5e-5),
    Stage(ratio=4.0, efficiency=0.8, input_inertia=1e-5, output_inertia=3e-4),
)


def test_kinetic_energy_is_the_same_seen_from_the_motor() -> None:
    motor_speed, load = 50.0, 4e-3
    middle, last = motor_speed / 3, motor_speed / 12
    energy = 2e-6 * motor_speed**2 + (5e-5 + 1e-5) * middle**2 + (3e-4 + load) * last**2
    assert inertia_at_motor(TWO_STAGES, load) * motor_speed**2 == pytest.approx(energy, rel=1e-12)
    assert total_efficiency(TWO_STAGES) == pytest.approx(0.76)


def test_without_losses_torque_is_the_reflected_inertia_times_the_motor_acceleration() -> None:
    ideal = tuple(Stage(s.ratio, 1.0, s.input_inertia, s.output_inertia) for s in TWO_STAGES)
    torque = torque_at_motor(ideal, rotor_inertia=1e-5, load_inertia=4e-3, load_acceleration=30.0)
    assert torque == pytest.approx((1e-5 + inertia_at_motor(ideal, 4e-3)) * 30.0 * 12)


def test_losses_cost_torque_while_driving_and_save_torque_while_braking() -> None:
    stage = (Stage(ratio=5.0, efficiency=0.5),)
    kwargs = {"rotor_inertia": 0.0, "load_inertia": 1.0}
    # The load takes 10 N m: half the motor's power is lost; braking, half the load's power never arrives.
    assert torque_at_motor(stage, load_acceleration=10.0, **kwargs) == pytest.approx(10 / 5 / 0.5)
    assert torque_at_motor(stage, load_acceleration=-10.0, **kwargs) == pytest.approx(-10 / 5 * 0.5)
    # The same motion the other way round has every sign turned.
    assert torque_at_motor(stage, load_acceleration=-10.0, direction=-1.0, **kwargs) == pytest.approx(-4.0)


def test_friction_is_added_while_speeding_up_and_helps_to_stop() -> None:
    worst = worst_torque(
        (), rotor_inertia=0.0, load_inertia=0.2, load_acceleration=np.array([0.0, 10.0, 50.0]), friction_torque=1.0
    )
    assert worst.accelerating == pytest.approx([1.0, 3.0, 11.0])
    assert worst.braking == pytest.approx([1.0, 1.0, 9.0])


def test_an_imbalance_is_at_its_worst_angle_both_ways() -> None:
    worst = worst_torque((), rotor_inertia=0.0, load_inertia=0.2, load_acceleration=10.0, imbalance_torque=0.7)
    assert float(worst.accelerating) == pytest.approx(2.7)
    assert float(worst.braking) == pytest.approx(2.7)


def test_worst_torque_is_the_largest_met_on_a_turn_in_either_direction() -> None:
    mass, offset, friction, a = 1.2, 0.01, 0.05, 40.0
    angles = np.linspace(0, 2 * math.pi, 721)
    gravity = mass * STANDARD_GRAVITY * offset * np.sin(angles)
    met = {}
    for name, sign in (("accelerating", 1.0), ("braking", -1.0)):
        met[name] = max(
            np.abs(
                torque_at_motor(
                    TWO_STAGES,
                    rotor_inertia=6e-6,
                    load_inertia=4e-3,
                    load_acceleration=sign * direction * a,
                    load_torque=direction * friction + gravity,
                    direction=direction,
                )
            ).max()
            for direction in (1.0, -1.0)
        )
    worst = worst_torque(
        TWO_STAGES,
        rotor_inertia=6e-6,
        load_inertia=4e-3,
        load_acceleration=a,
        friction_torque=friction,
        imbalance_torque=mass * STANDARD_GRAVITY * offset,
    )
    assert float(worst.accelerating) == pytest.approx(met["accelerating"], rel=1e-9)
    assert float(worst.braking) == pytest.approx(met["braking"], rel=1e-9)


def test_published_servo_index_table_acceleration_torque() -> None:
    # AutomationDirect, SureServo User Manual, 2nd ed. rev. B (08/2011), Selection Appendix, pp. B-14 to B-16:
    # 13.68 lbf in. Printed with 0.1 for 2 pi/60 and a ramp rounded to 0.13 s; the same rounding is used here.
    table, rotor = 4.80, 0.014  # lbf in s^2
    rounded = 121 / 0.13 * 0.1
    stages = (Stage(ratio=6.0),)
    torque = torque_at_motor(stages, rotor_inertia=rotor, load_inertia=table, load_acceleration=rounded / 6)
    assert torque == pytest.approx(13.68, rel=0.003)
    # Exact arithmetic from the source's own data (45 deg in 0.5 s, ramps of a quarter each) gives about 8 % more.
    speed = math.radians(45) / (0.5 - 0.125)
    exact = torque_at_motor(stages, rotor_inertia=rotor, load_inertia=table, load_acceleration=speed / 0.125)
    assert speed * 6 * 60 / (2 * math.pi) == pytest.approx(121, rel=0.01)
    assert 1.05 < float(exact) / 13.68 < 1.11


def test_power_at_the_motor_is_the_load_s_power_with_the_losses_of_every_stage() -> None:
    stages = (Stage(2.0, 0.9), Stage(7.0, 0.6), Stage(1.5, 0.97))
    load, acceleration = 0.3, np.array([-8.0, 8.0])
    torque = torque_at_motor(stages, rotor_inertia=0.0, load_inertia=load, load_acceleration=acceleration)
    motor_power_per_load_speed = torque * 21.0
    lost = 0.9 * 0.6 * 0.97
    assert motor_power_per_load_speed == pytest.approx([-8 * load * lost, 8 * load / lost])


@pytest.mark.parametrize(
    ("ratio", "efficiency", "message"),
    [
        pytest.param(0.0, 1.0, r"stage ratio: 0, limit 0", id="no ratio"),
        pytest.param(2.0, 1.01, r"stage efficiency: 1\.01, limit 1", id="makes power"),
        pytest.param(2.0, 0.0, r"stage efficiency: 0, limit 0", id="passes nothing"),
    ],
)
def test_an_impossible_stage_is_refused(ratio: float, efficiency: float, message: str) -> None:
    with pytest.raises(FormulaRangeError, match=message):
        Stage(ratio, efficiency)


def test_a_reflected_inertia_shrinks_with_the_square_of_the_ratio() -> None:
    assert reflect(1.0, 10.0) == pytest.approx(0.01)
    assert reflect(1.0, 0.5) == pytest.approx(4.0)
