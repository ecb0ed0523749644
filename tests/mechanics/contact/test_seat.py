"""Where a row of rollers presses with no more than a least force, against the plane statics of the part."""

import itertools
import math

import numpy as np
import pytest

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.contact.rollers import Ramp, seat_accelerations, smallest_normal
from firmware_host.mechanics.contact.trough import DrivenRows, Trough, normal_at_standstill

ROWS = [pytest.param(rows, id=f"{rows.value} driven") for rows in DrivenRows]


def trough(rows: DrivenRows, unbalance: float = 0.0) -> Trough:
    return Trough(1.3, 1e-3, 0.08, 0.025, 0.06, rows, 2e-6 * (rows is DrivenRows.ONE), 0.0, 2e-4, unbalance=unbalance)


@pytest.mark.parametrize("rows", ROWS)
@pytest.mark.parametrize("ramp", [None, *Ramp], ids=["both ramps", "speeding up", "braking"])
def test_at_that_acceleration_a_row_presses_with_just_the_least_force(rows: DrivenRows, ramp: Ramp | None) -> None:
    for unbalance, reserve in itertools.product((0.0, 2e-4), (0.0, 0.2, 0.5)):
        turning = trough(rows, unbalance).turning(np.array([0.0, 10.0, 25.0]))
        least = reserve * normal_at_standstill(1.3, turning.half_angle)
        found = seat_accelerations(turning, least, 0.01, ramp=ramp)
        up, down = (found * (ramp is not other) for other in (Ramp.DOWN, Ramp.UP))
        pressing = smallest_normal(turning, up, 0.01, braking=down)
        assert np.all(found > 0)
        assert pressing == pytest.approx(np.full(3, least), abs=1e-6)


@pytest.mark.parametrize("rows", ROWS)
def test_a_row_that_presses_too_little_at_constant_speed_leaves_nothing(rows: DrivenRows) -> None:
    still = trough(rows)
    assert float(seat_accelerations(still, 1.2 * normal_at_standstill(1.3, still.half_angle))) < 1e-6


def test_a_force_below_nothing_is_refused() -> None:
    with pytest.raises(FormulaRangeError, match="least normal force: -1 N"):
        seat_accelerations(trough(DrivenRows.ONE), -1.0)


def test_a_part_without_inertia_never_loses_its_seat() -> None:
    assert math.isinf(float(seat_accelerations(Trough(1.0, 0.0, 0.08, 0.025, 0.06), 0.0)))
