"""The lag at standstill: a load hung on a published torque-angle curve, and the worst of all angles by search.

The curve of the rest position: T = h sin((pi/2) e/S), S the angle of a full step (D. W. Jones, Control of Stepping
Motors, section "Stepping Motor Physics", University of Iowa, 1995; from memory), read here as a table and searched.
A motor maker's table of the torque that displaces the rotor by one microstep checks it: Faulhaber Micromo, Stepper
Motor Technical Note "Microstepping Myths and Realities", table 1.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.motor.standstill import (
    AtStandstill,
    friction_lag,
    largest_lag_change,
    largest_torque_at_standstill,
    torque_at_standstill,
)

GRAVITY = 1.85 * 9.80665 * 0.0065
#: A motor of 1.10 N m at 2.8 A set to 2.4 A, microstepping, at 0.3 of that at standstill.
HELD = 1.10 / math.sqrt(2) * (2.4 / 2.8) * 0.3
FULL_STEP_DEG = 1.8
CURVE_DEG = np.linspace(-1.8, 1.8, 200_001)
CURVE = np.sin(np.pi / 2 * CURVE_DEG / FULL_STEP_DEG)


def read_off_deg(torque: float) -> float:
    """Where the curve has this part of its height, degrees of the motor."""
    return float(np.interp(torque / HELD, CURVE, CURVE_DEG))


#: Microsteps to a full step, and the part of the holding torque that displaces the rotor by one of them, %.
PUBLISHED = {1: 100.0, 2: 70.71, 4: 38.27, 8: 19.51, 16: 9.80, 32: 4.91, 64: 2.45, 128: 1.23, 256: 0.61}


@pytest.mark.parametrize(("microsteps", "percent"), PUBLISHED.items(), ids=[f"1/{each}" for each in PUBLISHED])
def test_the_lag_is_one_microstep_at_the_published_part_of_the_holding_torque(microsteps: int, percent: float) -> None:
    # Friction alone, straight on the motor: the maker's figures have two decimals, the last one rounded.
    around = [math.degrees(friction_lag(AtStandstill(0.0, part / 100 * HELD, 1.0, 1.0, HELD, 50)))
              for part in (percent - 0.005, min(percent + 0.005, 100.0))]  # fmt: skip
    assert around[0] <= FULL_STEP_DEG / microsteps <= around[1] * (1 + 1e-12)
    assert read_off_deg(percent / 100 * HELD) == pytest.approx(FULL_STEP_DEG / microsteps, rel=0.01)


def standing(gravity: float = GRAVITY, friction: float = 0.0, efficiency: float = 1.0) -> AtStandstill:
    return AtStandstill(gravity, friction, 3.0, efficiency, HELD, 50)


def searched(gravity: float, friction: float, efficiency: float, apart: float) -> float:
    """The worst difference of two stops on 30 mm radius, mm: every angle, friction and loss at either end at both."""
    worst = 0.0
    for angle in np.linspace(0, 2 * math.pi, 361):
        stops = []
        for place in (angle, angle + apart):
            load = [gravity * math.sin(place) + sign * friction for sign in (-1, 0, 1)]
            lost = [abs(each) * (1 / efficiency - 1) for each in load]
            torques = [(each + sign * loss) / 3 for each, loss in zip(load, lost, strict=True) for sign in (-1, 0, 1)]
            stops.append([math.radians(read_off_deg(torque)) / 3 * 30 for torque in torques])
        worst = max(worst, max(stops[1]) - min(stops[0]), max(stops[0]) - min(stops[1]))
    return worst


@pytest.mark.parametrize(
    ("gravity", "friction", "efficiency", "wanted_mm"),
    [
        pytest.param(GRAVITY, 0.0, 1.0, 0.046, id="loss-free"),
        pytest.param(GRAVITY, 0.0, 0.95, 0.049, id="belt"),
        pytest.param(0.0, 0.05, 1.0, 2 * 0.0167, id="friction at both stops"),
    ],
)
def test_neighbours_lag_as_the_torque_angle_curve_says(
    gravity: float, friction: float, efficiency: float, wanted_mm: float
) -> None:
    # 60 mm, 1.85 kg, 6.5 mm beside the axis, five stops 72 deg apart.
    found = 30 * float(largest_lag_change(standing(gravity, friction, efficiency), math.radians(72)))
    assert found == pytest.approx(wanted_mm, abs=0.0005)
    assert found == pytest.approx(searched(gravity, friction, efficiency, math.radians(72)), rel=1e-3)


def test_friction_alone_holds_the_part_off_either_way() -> None:
    # 0.05 N m over 3:1 is 0.016667 N m of 0.2 N m: asin(0.08333)/(50 * 3) of 30 mm.
    assert 30 * friction_lag(standing(0.0, 0.05)) == pytest.approx(0.01669, abs=1e-5)
    assert 30 * friction_lag(standing(0.0, 0.05, 0.95)) == pytest.approx(0.01757, abs=1e-5)


@pytest.mark.parametrize("apart_deg", [3.0, 20.0, 90.0, 180.0, 300.0, 360.0])
@pytest.mark.parametrize(("friction", "efficiency"), [(0.0, 1.0), (0.05, 0.9), (0.02, 0.4)])
def test_the_worst_of_all_angles_is_found(apart_deg: float, friction: float, efficiency: float) -> None:
    # Where losses are large and the stops near each other, the worst is not about the horizontal.
    gravity = GRAVITY if efficiency > 0.5 else 0.2 * GRAVITY
    found = 30 * float(largest_lag_change(standing(gravity, friction, efficiency), math.radians(apart_deg)))
    assert found == pytest.approx(searched(gravity, friction, efficiency, math.radians(apart_deg)), rel=2e-3, abs=1e-6)


def test_losses_raise_what_the_motor_holds_and_may_take_all_of_it() -> None:
    assert [float(each) for each in torque_at_standstill(0.3, 3.0, 1.0)] == pytest.approx([0.1, 0.1])
    assert [float(each) for each in torque_at_standstill(0.3, 3.0, 0.8)] == pytest.approx([0.075, 0.125])
    # A self-locking gear, below 0.5: the load cannot drive the motor, which may even have to pull the other way.
    assert [float(each) for each in torque_at_standstill(0.3, 3.0, 0.4)] == pytest.approx([-0.05, 0.25])
    assert largest_torque_at_standstill(standing(0.1, 0.05, 0.5)) == pytest.approx(0.1)


def test_beyond_the_holding_torque_the_lag_is_a_full_step() -> None:
    heavy = standing(gravity=10 * 3 * HELD)
    assert float(largest_lag_change(heavy, math.pi)) == pytest.approx(2 * math.radians(1.8) / 3, rel=1e-3)
    with pytest.raises(FormulaRangeError, match="efficiency"):
        standing(efficiency=1.2)
