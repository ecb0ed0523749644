"""What the phases carry, against the step tables of drivers: torque and copper loss added up phase by phase."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firmware_host.mechanics.motor import heat
from firmware_host.mechanics.motor import torque as motor
from firmware_host.mechanics.motor.phases import PhaseMode

# Currents of phases A and B in parts of the set current, step by step through one turn of the field.
# STMicroelectronics, AN4158 (DocID023635 Rev 2), table 3: full steps with two phases on, and half steps, each phase
# "positive", "zero" or "negative": nothing in between.
FULL = [(1, 1), (-1, 1), (-1, -1), (1, -1)]
HALF = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1)]
# Allegro MicroSystems, A4988 data sheet, table 2 (step sequencing, in % of the trip current), and Texas Instruments,
# DRV8825 data sheet, table 2 (71 % instead of 70.71 %); from memory.
SHAPED_FULL = [(0.7071, 0.7071), (-0.7071, 0.7071), (-0.7071, -0.7071), (0.7071, -0.7071)]
SHAPED_HALF = [(1, 0), (0.7071, 0.7071), (0, 1), (-0.7071, 0.7071), (-1, 0), (-0.7071, -0.7071), (0, -1)]
SHAPED_HALF += [(0.7071, -0.7071)]
# The same table's quarter steps.
QUARTER = [(1, 0), (0.9239, 0.3827), (0.7071, 0.7071), (0.3827, 0.9239), (0, 1), (-0.3827, 0.9239)]

TABLES = [
    pytest.param(PhaseMode.of(1, shaped=False), FULL, id="full steps, AN4158"),
    pytest.param(PhaseMode.of(2, shaped=False), HALF, id="half steps, AN4158"),
    pytest.param(PhaseMode.of(1, shaped=True), SHAPED_FULL, id="full steps, A4988"),
    pytest.param(PhaseMode.of(2, shaped=True), SHAPED_HALF, id="half steps, A4988"),
    pytest.param(PhaseMode.of(4, shaped=False), QUARTER, id="quarter steps, A4988"),
]


@pytest.mark.parametrize(("mode", "table"), TABLES)
def test_copper_loss_is_what_the_table_adds_up_to(mode: PhaseMode, table: list[tuple[float, float]]) -> None:
    current, resistance = 2.8, 0.95
    losses = [current**2 * resistance * (a * a + b * b) for a, b in table]
    assert heat.standing_copper_loss(current, resistance, mode) == pytest.approx(max(losses), rel=2e-4)
    assert heat.moving_copper_loss(current, resistance, mode) == pytest.approx(np.mean(losses), rel=2e-4)


@pytest.mark.parametrize(("mode", "table"), TABLES)
def test_static_torque_is_the_weakest_place_of_the_table(mode: PhaseMode, table: list[tuple[float, float]]) -> None:
    # Each phase pulls k_T I times the sine of its own angle; the peak of two a quarter turn apart is their hypotenuse.
    angle = np.linspace(0, 2 * math.pi, 20001)
    peaks = [0.3 * 2.0 * np.max(a * np.sin(angle) + b * np.cos(angle)) for a, b in table]
    assert motor.static_torque(0.3, 2.0, mode) == pytest.approx(min(peaks), rel=2e-4)


@pytest.mark.parametrize(("mode", "table"), TABLES[:4])
def test_slow_steps_pull_what_neighbouring_curves_have_at_their_crossing(
    mode: PhaseMode, table: list[tuple[float, float]]
) -> None:
    # T(angle) = -a sin(angle) + b cos(angle) of one step and of the next: a load below the least of the crossings is
    # still carried when the field moves on. Found by a scan.
    angle = np.linspace(0, 2 * math.pi, 40001)
    curves = [-a * np.sin(angle) + b * np.cos(angle) for a, b in table]
    crossing = min(np.minimum(now, after).max() for now, after in zip(curves, curves[1:] + curves[:1], strict=True))
    assert mode.pull_out_share == pytest.approx(crossing, rel=2e-4)
    winding = motor.Winding(1.2, 2.6e-3, 0.3, 50)
    slow = motor.pull_out_from_winding(0.01, winding, peak_current=2.0, voltage=24.0, mode=mode)
    assert float(slow) == pytest.approx(0.6 * crossing, rel=2e-4)


def test_points_of_a_data_sheet_shrink_for_shaped_full_steps_only() -> None:
    points = motor.TorquePoints(np.array([0.0, 50.0]), np.array([1.0, 0.8]), current=2.0, voltage=24.0)

    def at_rest(mode: PhaseMode) -> float:
        return float(motor.pull_out_from_points(0, points, current=2.0, voltage=24.0, rated_current=2.0, mode=mode))

    assert at_rest(PhaseMode.SINE) == at_rest(PhaseMode.FULL_STEP) == at_rest(PhaseMode.HALF_STEP) == 1.0
    assert at_rest(PhaseMode.SHAPED_FULL_STEP) == pytest.approx(math.sqrt(0.5))


def test_iron_loss_lies_above_any_mixture_of_hysteresis_and_eddy_currents() -> None:
    # Steinmetz' law with P_h ~ f and P_e ~ f^2, alike with the copper's at the speed of equal losses; a triangle of
    # speed, summed up instant by instant.
    for peak in (20.0, 100.0, 300.0):
        speed = peak * (np.arange(1000) + 0.5) / 1000
        found = heat.iron_loss(peak / 2, peak, 7.0, 100.0)
        for eddy in (0.0, 0.3, 1.0):
            mixture = 7.0 * ((1 - eddy) * speed / 100 + eddy * (speed / 100) ** 2)
            assert found >= mixture.mean() - 1e-9
    assert heat.iron_loss(100.0, 100.0, 7.0, 100.0) == pytest.approx(7.0)
