"""Ringing against an integrated oscillator (SciPy)."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy import integrate

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.train import vibration

NATURAL = 2 * math.pi * 41.0


def integrated_lag(
    acceleration: Callable[[float], float], switches: list[float], damping: float, end: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(t, e, e') of e'' + 2 zeta w e' + w^2 e = -a(t), integrated piecewise between the jumps of a."""
    times, lags, rates = [np.array([0.0])], [np.array([0.0])], [np.array([0.0])]
    for start, stop in zip([0.0, *switches], [*switches, end], strict=True):
        if stop <= start:
            continue
        a = acceleration((start + stop) / 2)
        solution = integrate.solve_ivp(
            lambda t, y, a=a: [y[1], -a - 2 * damping * NATURAL * y[1] - NATURAL**2 * y[0]],
            (start, stop),
            [lags[-1][-1], rates[-1][-1]],
            rtol=1e-10,
            atol=1e-14,
            max_step=(stop - start) / 200,
        )
        times.append(solution.t)
        lags.append(solution.y[0])
        rates.append(solution.y[1])
    return np.concatenate(times), np.concatenate(lags), np.concatenate(rates)


def envelope(lag: float, rate: float, damping: float) -> float:
    """Amplitude of the damped ringing that passes through this lag and rate."""
    damped = NATURAL * math.sqrt(1 - damping**2)
    return math.hypot(lag, (rate + damping * NATURAL * lag) / damped)


def ramp_ringing(acceleration: float, ramp_time: Any, natural: float, damping: float = 0.0) -> Any:
    """What one ramp leaves: its acceleration sets in, and is taken away again at its end."""
    starts = np.asarray(ramp_time, dtype=np.float64)
    steps = [np.asarray(acceleration), np.asarray(-acceleration)]
    return vibration.residual_amplitude(steps, [starts, np.zeros_like(starts)], natural, damping)


@pytest.mark.parametrize("damping", [pytest.param(0.0, id="undamped"), pytest.param(0.12, id="damped")])
@pytest.mark.parametrize(
    "ramp", [pytest.param(0.3, id="short"), pytest.param(1.0, id="one period"), pytest.param(2.5, id="long")]
)
def test_a_ramp_leaves_the_ringing_that_integration_leaves(ramp: float, damping: float) -> None:
    length = ramp * 2 * math.pi / NATURAL
    _, lag, rate = integrated_lag(lambda t: 300.0, [], damping, length)
    predicted = float(ramp_ringing(300.0, length, NATURAL, damping))
    assert predicted == pytest.approx(envelope(lag[-1], rate[-1], damping), rel=1e-6, abs=1e-10)
    if damping == 0:
        assert predicted == pytest.approx(2 * 300 / NATURAL**2 * abs(math.sin(NATURAL * length / 2)), abs=1e-15)


def test_a_ramp_of_whole_periods_rings_not_at_all_and_one_of_half_a_period_the_most() -> None:
    period = 2 * math.pi / NATURAL
    whole = ramp_ringing(300.0, np.array([1, 2, 3]) * period, NATURAL)
    half = float(ramp_ringing(300.0, period / 2, NATURAL))
    assert whole == pytest.approx(np.zeros(3), abs=1e-12 * half)
    assert half == pytest.approx(2 * 300.0 / NATURAL**2)


@pytest.mark.parametrize("cruise", [pytest.param(0.0, id="triangle"), pytest.param(0.017, id="trapezoid")])
def test_an_index_leaves_the_ringing_that_integration_leaves(cruise: float) -> None:
    ramp, damping = 0.0137, 0.07
    switches = [ramp, ramp + cruise]

    def profile(t: float) -> float:
        return 300.0 if t < ramp else (0.0 if t < ramp + cruise else -300.0)

    _, lag, rate = integrated_lag(profile, switches, damping, 2 * ramp + cruise)
    predicted = float(vibration.index_residual_amplitude(300.0, ramp, cruise, NATURAL, damping))
    assert predicted == pytest.approx(envelope(lag[-1], rate[-1], damping), rel=1e-6)


def test_after_the_settle_time_the_integrated_lag_stays_within_the_tolerance() -> None:
    ramp, damping, tolerance = 0.0137, 0.07, 2e-5
    amplitude = ramp_ringing(300.0, ramp, NATURAL, damping)
    settle = float(vibration.settle_time(amplitude, tolerance, damping, NATURAL))
    times, lag, _ = integrated_lag(lambda t: 300.0 if t < ramp else 0.0, [ramp], damping, ramp + settle + 0.2)
    after = np.abs(lag[times >= ramp + settle])
    period = 2 * math.pi / NATURAL
    before = np.abs(lag[(times >= ramp + settle - period) & (times < ramp + settle)])
    assert after.max() <= tolerance
    assert before.max() > 0.8 * tolerance  # and it isn't much too long


def test_settling_needs_no_time_below_the_tolerance_and_forever_without_damping() -> None:
    assert vibration.settle_time(np.array([1e-6, 1e-5]), 1e-5, 0.1, NATURAL) == pytest.approx([0.0, 0.0])
    assert math.isinf(float(vibration.settle_time(2e-5, 1e-5, 0.0, NATURAL)))


@pytest.mark.parametrize("damping", [pytest.param(0.0, id="undamped"), pytest.param(0.15, id="damped")])
def test_a_sudden_acceleration_stretches_the_spring_by_the_peak_factor(damping: float) -> None:
    _, lag, _ = integrated_lag(lambda t: 300.0, [], damping, 2 * math.pi / NATURAL)
    assert np.abs(lag).max() / (300.0 / NATURAL**2) == pytest.approx(vibration.sudden_peak_factor(damping), rel=2e-4)


def test_natural_frequency_is_that_of_the_real_sine_torque_for_small_swings() -> None:
    # J e'' = -T_h sin(p e), integrated over a small swing: half a period between sign changes (SciPy).
    teeth, torque, inertia = 50, 0.4, 3e-5
    crossing = lambda t, y: y[0]  # noqa: E731
    crossing.terminal, crossing.direction = True, -1
    quarter = integrate.solve_ivp(
        lambda t, y: [y[1], -torque * math.sin(teeth * y[0]) / inertia],
        (0, 1),
        [1e-5, 0.0],
        events=crossing,
        rtol=1e-10,
        atol=1e-15,
    ).t_events[0][0]
    assert vibration.natural_frequency(teeth, torque, inertia) == pytest.approx(math.pi / 2 / quarter, rel=1e-6)


def test_the_band_to_avoid_is_where_a_driven_oscillator_exceeds_half_power() -> None:
    damping = 0.05
    # The usual f (1 -+ zeta) is first order in zeta, so it is off by about zeta^2.
    low, high = vibration.resonant_step_rates(NATURAL, damping, (1,))[0] * 2 * math.pi
    at = np.linspace(0.8, 1.2, 40001) * NATURAL
    response = 1 / np.hypot(NATURAL**2 - at**2, 2 * damping * NATURAL * at)
    above = at[response >= response.max() / math.sqrt(2)]
    assert (low, high) == pytest.approx((above[0], above[-1]), rel=5e-3)
    thirds = vibration.resonant_step_rates(NATURAL, damping)[2] * 2 * math.pi
    assert thirds == pytest.approx([low / 3, high / 3])


def test_a_damping_ratio_of_one_is_refused() -> None:
    with pytest.raises(FormulaRangeError, match=r"damping ratio: 1, limit 1"):
        vibration.settle_time(1.0, 0.1, 1.0, NATURAL)


def test_the_worst_phasor_is_the_largest_of_a_dense_scan_of_times_and_frequencies() -> None:
    rng = np.random.default_rng(12)
    for _ in range(300):
        damping, first = rng.choice([0.0, 0.05, 0.2]), rng.choice([1.0, 2.0])
        band = vibration.FrequencyBand.around(NATURAL, rng.uniform(0, 0.15))
        low = rng.uniform(0, 0.08)
        high = low + rng.choice([0.0, rng.uniform(0, 0.03)])
        t = np.linspace(low, high, 120)[:, None]
        w = np.linspace(band.lowest, band.highest, 121)[None, :]
        pole = w * complex(-damping, math.sqrt(1 - damping**2))
        scanned = np.abs(first - np.exp(pole * t))
        worst = float(vibration.worst_phasor(first, low, high, band, damping))
        assert worst >= scanned.max() * (1 - 1e-9)
        # Undamped it is the largest, to the scan's own steps; damped, phase and decay are taken at their worst apart.
        slack = 1.0 if damping == 0 else (1.08 if high == low else 1.3)
        assert worst <= scanned.max() * slack + 5e-3


def test_known_times_and_frequency_give_the_phasor_of_the_ringing_exactly() -> None:
    exactly = vibration.FrequencyBand(NATURAL, NATURAL)
    ramp, cruise, damping = 0.0137, 0.017, 0.07
    product = vibration.worst_phasor(1.0, ramp, ramp, exactly, damping) * vibration.worst_phasor(
        1.0, ramp + cruise, ramp + cruise, exactly, damping
    )
    amplitude = 300.0 * float(product) / (NATURAL**2 * math.sqrt(1 - damping**2))
    direct = float(vibration.index_residual_amplitude(300.0, ramp, cruise, NATURAL, damping))
    assert amplitude == pytest.approx(direct, rel=1e-9)


def test_a_band_upside_down_is_refused() -> None:
    with pytest.raises(FormulaRangeError, match=r"natural angular frequency: 90 rad/s, limit 100 rad/s"):
        vibration.FrequencyBand(100.0, 90.0)
