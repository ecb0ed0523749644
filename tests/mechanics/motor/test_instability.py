"""The band of mid-range instability: where the current slips from the driver, by a scan, and near R/L."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firmware_host.mechanics.motor import torque as motor
from firmware_host.mechanics.motor.instability import corner_speed, mid_range_band

WINDING = motor.Winding(resistance=0.95, inductance=2.6e-3, torque_constant=0.278, rotor_teeth=50)


@pytest.mark.parametrize("volts", [12.0, 36.0, 80.0])
def test_from_the_corner_on_the_best_current_is_less_than_the_set_one(volts: float) -> None:
    speeds = np.linspace(0, 400, 400001)
    best = np.abs(motor.best_phase_current(speeds, WINDING, peak_current=2.4, voltage=volts))
    in_phase = motor.best_phase_current(speeds, WINDING, peak_current=2.4, voltage=volts).real
    lost = speeds[np.argmax((best < 2.4 * (1 - 1e-9)) | (in_phase < 2.4 * (1 - 1e-9)))]
    assert corner_speed(WINDING, 2.4, volts) == pytest.approx(lost, abs=0.02)


def test_a_supply_below_the_drop_never_drives_the_current() -> None:
    assert corner_speed(WINDING, 2.4, 2.0) == 0.0


def test_a_motor_that_its_voltage_feeds_hunts_near_the_rate_of_r_over_l() -> None:
    # P. Acarnley, Stepping Motors, IET, 4th ed., section 5.5: where the angular frequency of the phases is R/L. Four
    # full steps a period.
    rate = 4 * (0.95 / 2.6e-3) / (2 * math.pi)
    assert mid_range_band([WINDING], 2.4, 2.0) == pytest.approx((rate / 2, rate * 2))


def test_a_driver_that_holds_the_current_moves_the_band_up() -> None:
    corner = corner_speed(WINDING, 2.4, 36.0) / (2 * math.pi) * 200
    assert mid_range_band([WINDING], 2.4, 36.0) == pytest.approx((corner, 2 * corner))


def test_without_inductance_there_is_no_band() -> None:
    assert mid_range_band([motor.Winding(0.95, 0.0, 0.278, 50)], 2.4, 36.0) == (math.inf, math.inf)
