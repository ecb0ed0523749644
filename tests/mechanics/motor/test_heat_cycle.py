"""How warm a motor gets and what it draws, against integrated heat balances and energy balances (SciPy)."""

import math

import numpy as np
import pytest
from scipy import integrate

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.motor import heat, supply

ALPHA = 3.93e-3  # 1/K at 20 degC: IEC 60028, annealed copper


def settled_rise(loss_at_20: float, thermal_resistance: float, ambient: float) -> float:
    """Integrate C dT/dt = P(T) - (T - ambient)/R_th to its rest, with a capacity of 100 J/K."""
    capacity = 100.0

    def warming(_: float, celsius: np.ndarray) -> np.ndarray:
        loss = loss_at_20 * (1 + ALPHA * (celsius - 20))
        return (loss - (celsius - ambient) / thermal_resistance) / capacity

    end = 100 * capacity * thermal_resistance
    solution = integrate.solve_ivp(warming, (0, end), [ambient], method="LSODA", rtol=1e-10, atol=1e-10)
    return float(solution.y[0, -1]) - ambient


@pytest.mark.parametrize(
    ("loss", "resistance", "ambient"),
    [
        pytest.param(10.0, 4.0, 40.0, id="warm workshop"),
        pytest.param(10.0, 4.0, -5.0, id="frost"),
        pytest.param(20.0, 8.0, 40.0, id="far from linear"),
    ],
)
def test_the_steady_rise_is_where_the_heat_balance_comes_to_rest(
    loss: float, resistance: float, ambient: float
) -> None:
    assert heat.winding_rise(loss, resistance, ambient) == pytest.approx(
        settled_rise(loss, resistance, ambient), rel=1e-6
    )


def test_a_winding_whose_resistance_outruns_its_cooling_runs_away() -> None:
    # 255 K cold rise: each kelvin more heats by another 255*3.93e-3 = 1.002 K.
    assert math.isinf(heat.winding_rise(51.0, 5.0, 40.0))
    assert heat.winding_rise(50.0, 5.0, 40.0) > 5000


def test_the_cycle_s_mean_loss_warms_like_the_switched_loss_itself() -> None:
    moving, holding, resistance, capacity = 12.0, 3.0, 4.0, 100.0
    times = (0.5, 1.5)
    mean = heat.cycle_loss(moving, times[0], holding, times[1])
    rise, decay = 0.0, 1 / (resistance * capacity)
    for _ in range(3000):
        for loss, seconds in zip((moving, holding), times, strict=True):
            steady = loss * resistance  # exact response to a constant loss, resistance of the copper held
            rise = steady + (rise - steady) * math.exp(-seconds * decay)
    assert mean * resistance == pytest.approx(rise, rel=0.01)
    assert mean == pytest.approx(5.25)


def test_the_losses_of_sine_and_cosine_are_the_peak_squared_times_resistance() -> None:
    for angle in np.linspace(0, 2 * math.pi, 7):
        phases = (2.5 * math.cos(angle)) ** 2 * 0.8 + (2.5 * math.sin(angle)) ** 2 * 0.8
        assert heat.sine_copper_loss(2.5, 0.8) == pytest.approx(phases)


def test_the_current_drawn_over_a_ramp_pays_for_motion_and_copper() -> None:
    # Energy from the supply over a ramp = kinetic energy + copper heat.
    inertia, acceleration, seconds, volts, copper = 2e-4, 500.0, 0.2, 24.0, 4.0
    drawn, _ = integrate.quad(
        lambda t: volts * supply.supply_current(inertia * acceleration, acceleration * t, copper, volts), 0, seconds
    )
    assert drawn == pytest.approx(inertia * (acceleration * seconds) ** 2 / 2 + copper * seconds)


def test_an_imbalance_that_comes_down_adds_its_height_to_the_braking_energy() -> None:
    # 3 kg, 2 mm off the axis, falls by 4 mm: 3*9.80665*0.004 J.
    still = supply.braking_energy(1e-3, 10.0)
    assert supply.braking_energy(1e-3, 10.0, 3 * 9.80665 * 0.002) - still == pytest.approx(3 * 9.80665 * 0.004)
    assert still == pytest.approx(0.05)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        pytest.param(lambda: heat.winding_rise(1.0, 0.0, 20.0), r"thermal resistance: 0 K/W", id="no resistance"),
        pytest.param(lambda: heat.cycle_loss(1.0, 0.0, 1.0, 1.0), r"moving time: 0 s", id="no move"),
        pytest.param(lambda: heat.winding_rise(1.0, 1.0, math.nan), r"ambient temperature: nan degC", id="no number"),
        pytest.param(lambda: supply.charged_voltage(1.0, 24.0, 0.0), r"capacitance: 0 F", id="no capacitor"),
        pytest.param(lambda: supply.supply_current(1.0, 1.0, 1.0, 0.0), r"supply voltage: 0 V", id="no voltage"),
        pytest.param(lambda: supply.braking_energy(-1.0, 1.0), r"inertia: -1 kg m\^2", id="negative inertia"),
    ],
)
def test_values_that_mean_nothing_are_refused(call: object, words: str) -> None:
    with pytest.raises(FormulaRangeError, match=words):
        call()  # type: ignore[operator]
