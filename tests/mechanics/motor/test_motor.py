"""Pull-out torque against an integration of the two-phase equations and a constrained optimiser (SciPy)."""

import math

import numpy as np
import pytest
from scipy import integrate, optimize

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.motor import torque as motor
from firmware_host.mechanics.motor.phases import PhaseMode

WINDING = motor.Winding(resistance=1.2, inductance=2.6e-3, torque_constant=0.31, rotor_teeth=50)
POINTS = motor.TorquePoints(
    speeds=np.array([10.0, 50.0, 100.0]), torques=np.array([0.5, 0.4, 0.1]), current=2.0, voltage=24.0
)


def integrated(speed: float, voltage: float, angle: float, winding: motor.Winding = WINDING) -> tuple[float, float]:
    """(mean torque, largest phase current) over one settled electrical period of L di/dt = u - R i - e, both phases.

    Phase torques -k_T i_a sin(p x) and k_T i_b cos(p x) and back-EMFs from the same constants: written from the motor's
    two-phase model, without phasors.
    """
    r, inductance, k, p = winding.resistance, winding.inductance, winding.torque_constant, winding.rotor_teeth
    w = p * speed

    def rhs(t: float, i: np.ndarray) -> list[float]:
        electrical = w * t
        return [
            (-voltage * math.sin(electrical + angle) - r * i[0] + k * speed * math.sin(electrical)) / inductance,
            (voltage * math.cos(electrical + angle) - r * i[1] - k * speed * math.cos(electrical)) / inductance,
        ]

    period = 2 * math.pi / w
    settled = math.ceil(12 * inductance / r / period) * period
    t = np.linspace(settled, settled + period, 2001)
    solution = integrate.solve_ivp(rhs, (0, t[-1]), [0.0, 0.0], t_eval=t, rtol=1e-8, atol=1e-10)
    torque = k * (-solution.y[0] * np.sin(w * t) + solution.y[1] * np.cos(w * t))
    return float(integrate.trapezoid(torque, t) / period), float(np.abs(solution.y).max())


EIGHT_SPEEDS = [pytest.param(v, id=f"{v:g} rad per s") for v in (5.0, 12.0, 20.0, 45.0, 80.0, 120.0, 200.0, 400.0)]


@pytest.mark.some(1)
@pytest.mark.parametrize("speed", EIGHT_SPEEDS)
def test_voltage_limited_pull_out_is_the_largest_torque_of_the_integrated_phase_equations(speed: float) -> None:
    best = optimize.minimize_scalar(
        lambda angle: -integrated(speed, 24.0, angle)[0], bounds=(0.0, math.pi / 2 + 0.6), method="bounded"
    )
    predicted = float(motor.pull_out_from_winding(speed, WINDING, peak_current=1e3, voltage=24.0))
    assert predicted == pytest.approx(-best.fun, rel=1e-4)
    # P. Acarnley, Stepping Motors, IET, chapter 5 (form from memory): k_T (V/Z - k_T omega R/Z^2).
    z = math.hypot(1.2, 50 * speed * 2.6e-3)
    assert predicted == pytest.approx(0.31 * (24.0 / z - 0.31 * speed * 1.2 / z**2), rel=1e-12)


@pytest.mark.parametrize("speed", EIGHT_SPEEDS)
def test_the_best_current_integrates_to_the_predicted_torque_within_both_limits(speed: float) -> None:
    peak, volts = 2.0, 24.0
    current = complex(motor.best_phase_current(speed, WINDING, peak_current=peak, voltage=volts))
    applied = (1.2 + 1j * 50 * speed * 2.6e-3) * current + 0.31 * speed
    torque, largest = integrated(speed, abs(applied), math.atan2(applied.imag, applied.real))
    predicted = float(motor.pull_out_from_winding(speed, WINDING, peak_current=peak, voltage=volts))
    assert abs(applied) <= volts * (1 + 1e-9)
    assert largest <= peak * (1 + 1e-4)
    assert torque == pytest.approx(predicted, rel=1e-4)


def stepped_torque(speed: float, voltage: float, angle: float) -> float:
    """Mean torque with the supply switched onto the phases in full steps: square waves, a quarter period apart.

    Between two switchings i' = (u - R i - e)/L is linear in i: integrated with SciPy from switching to switching.
    """
    r, inductance, k, w = WINDING.resistance, WINDING.inductance, WINDING.torque_constant, 50 * speed
    quarter = math.pi / 2 / w
    periods = math.ceil(8 * inductance / r / (4 * quarter)) + 1
    state, mean = [0.0, 0.0], 0.0
    for n in range(4 * periods):
        start = n * quarter - angle / w
        signs = (-1.0 if n % 4 < 2 else 1.0), (1.0 if n % 4 in (0, 3) else -1.0)

        def rhs(t: float, y: np.ndarray, signs: tuple[float, float] = signs) -> list[float]:
            return [
                (signs[0] * voltage - r * y[0] + k * speed * math.sin(w * t)) / inductance,
                (signs[1] * voltage - r * y[1] - k * speed * math.cos(w * t)) / inductance,
            ]

        t = np.linspace(start, start + quarter, 101)
        solution = integrate.solve_ivp(rhs, (t[0], t[-1]), state, t_eval=t, rtol=1e-7, atol=1e-9)
        state = solution.y[:, -1].tolist()
        if n >= 4 * (periods - 1):
            torque = k * (-solution.y[0] * np.sin(w * t) + solution.y[1] * np.cos(w * t))
            mean += float(integrate.trapezoid(torque, t)) / (4 * quarter)
    return mean


@pytest.mark.some(1)
@pytest.mark.parametrize(
    "speed", [pytest.param(v, id=f"{v:g} rad per s") for v in (20, 45, 80, 120, 160, 200, 300, 400)]
)
def test_full_steps_pull_by_the_fundamental_of_their_square_wave(speed: float) -> None:
    best = optimize.minimize_scalar(
        lambda angle: -stepped_torque(speed, 24.0, angle), bounds=(0.0, math.pi / 2 + 0.6), method="bounded"
    )
    predicted = float(
        motor.pull_out_from_winding(speed, WINDING, peak_current=1e3, voltage=24.0, mode=PhaseMode.FULL_STEP)
    )
    assert predicted == pytest.approx(-best.fun, rel=0.02)
    assert predicted > float(motor.pull_out_from_winding(speed, WINDING, peak_current=1e3, voltage=24.0))


def test_the_mode_follows_the_microsteps_and_slow_full_steps_pull_no_more_than_a_sine() -> None:
    modes = [PhaseMode.of(microsteps, shaped=False) for microsteps in (1, 2, 4, 256)]
    assert modes == [PhaseMode.FULL_STEP, PhaseMode.HALF_STEP, PhaseMode.SINE, PhaseMode.SINE]
    constant = motor.torque_constant(0.45, 1.5)
    assert [motor.static_torque(constant, 1.5, mode) for mode in modes[:3]] == pytest.approx(
        [0.45, 0.3182, 0.3182], rel=1e-4
    )
    # Two static curves of both phases, a full step apart, cross at k_T I: found by a scan.
    x = np.linspace(0, math.pi, 100001)
    crossing = np.minimum(0.45 * np.sin(x), 0.45 * np.sin(x + math.pi / 2)).max()
    slow = motor.pull_out_from_winding(
        0.5, motor.Winding(1.2, 2.6e-3, constant, 50), peak_current=1.5, voltage=24.0, mode=PhaseMode.FULL_STEP
    )
    assert float(slow) == pytest.approx(crossing, rel=1e-6)


def test_no_point_within_current_and_voltage_makes_more_torque() -> None:
    # The optimum of a linear goal lies on the edge of what is allowed: 40000 points on the edge of either disc.
    rng = np.random.default_rng(7)
    circle = np.exp(1j * np.linspace(-math.pi, math.pi, 40001))
    limited_by = {"current": 0, "both": 0, "voltage": 0, "nothing left": 0}
    for _ in range(200):
        winding = motor.Winding(rng.uniform(0.3, 4), rng.uniform(0.3e-3, 6e-3), rng.uniform(0.05, 1.2), 50)
        peak, volts, speed = rng.uniform(0.5, 5), rng.uniform(12, 60), rng.uniform(0.1, 250)
        z, emf = complex(winding.resistance, 50 * speed * winding.inductance), winding.torque_constant * speed
        edge = np.concatenate([peak * circle, (volts * circle - emf) / z])
        allowed = edge[(np.abs(edge) <= peak * 1.0001) & (np.abs(z * edge + emf) <= volts * 1.0001)]
        best = complex(motor.best_phase_current(speed, winding, peak_current=peak, voltage=volts))
        if allowed.size == 0:
            assert math.isnan(best.real)
            continue
        assert abs(best) <= peak * (1 + 1e-9)
        assert abs(z * best + emf) <= volts * (1 + 1e-9)
        assert best.real == pytest.approx(allowed.real.max(), rel=2e-3, abs=2e-3)
        full_current, full_voltage = abs(best) > 0.999 * peak, abs(z * best + emf) > 0.999 * volts
        kind = {(True, False): "current", (True, True): "both", (False, True): "voltage"}[full_current, full_voltage]
        limited_by["nothing left" if best.real < 0 else kind] += 1
    assert min(limited_by.values()) > 0, limited_by


def test_slow_rotation_gives_the_current_limited_torque_and_a_starved_supply_less() -> None:
    slow = motor.pull_out_from_winding(np.array([0.0, 1.0]), WINDING, peak_current=2.0, voltage=24.0)
    assert slow == pytest.approx([0.62, 0.62])
    starved = motor.pull_out_from_winding(0.0, WINDING, peak_current=2.0, voltage=1.2)
    assert float(starved) == pytest.approx(0.31 * 1.0)  # 1.2 V over 1.2 ohm


def test_pull_out_never_rises_with_speed_and_ends_at_zero() -> None:
    speeds = np.linspace(0, 3000, 3001)
    torque = motor.pull_out_from_winding(speeds, WINDING, peak_current=2.0, voltage=24.0)
    assert (np.diff(torque) <= 1e-12).all()
    assert torque[-1] == 0.0 or torque[-1] < 0.01 * torque[0]
    assert motor.pull_out_from_winding(-speeds, WINDING, peak_current=2.0, voltage=24.0) == pytest.approx(torque)


def test_where_the_supply_cannot_hold_the_current_down_there_is_no_torque() -> None:
    weak_winding = motor.Winding(resistance=1.0, inductance=0.0, torque_constant=1.0, rotor_teeth=50)
    torque = motor.pull_out_from_winding(np.array([40.0]), weak_winding, peak_current=2.0, voltage=24.0)
    assert torque == pytest.approx([0.0])  # back-EMF 40 V, and 24 V + 2 A * 1 ohm against it


def test_a_current_above_the_rated_one_is_refused() -> None:
    with pytest.raises(FormulaRangeError, match=r"current: 2\.1 A, limit 2 A\. Set at most the motor's rated current"):
        motor.pull_out_from_points(30.0, POINTS, current=2.1, voltage=24.0, rated_current=2.0)


def test_holding_torque_of_two_full_phases_is_root_two_of_the_microstepped() -> None:
    # Both phases at full current: the sum of two sines a quarter period apart peaks at sqrt(2).
    constant = motor.torque_constant(0.45, 1.5)
    x = np.linspace(0, 2 * math.pi, 100001)
    both = constant * 1.5 * (np.cos(x) - np.sin(x))
    assert both.max() == pytest.approx(0.45, rel=1e-8)
    assert motor.static_torque(constant, 1.5) == pytest.approx(0.45 / math.sqrt(2))


def test_datasheet_points_are_joined_by_lines_and_never_extrapolated() -> None:
    torque = motor.pull_out_from_points(
        np.array([0.0, 10.0, 30.0, -75.0, 100.0, 100.01]), POINTS, current=2.0, voltage=24.0, rated_current=2.0
    )
    assert torque == pytest.approx([0.5, 0.5, 0.45, 0.25, 0.1, 0.0])


def test_current_scales_torque_up_to_rated_and_voltage_stretches_speed() -> None:
    def at(speed: float, current: float, voltage: float) -> float:
        return float(motor.pull_out_from_points(speed, POINTS, current=current, voltage=voltage, rated_current=2.0))

    assert at(30.0, 1.0, 24.0) == pytest.approx(0.225)
    assert at(60.0, 2.0, 48.0) == pytest.approx(0.45)
    assert at(150.0, 2.0, 48.0) == pytest.approx(0.25)
    assert at(60.0, 2.0, 12.0) == 0.0


@pytest.mark.parametrize(
    ("speeds", "torques", "message"),
    [
        pytest.param([10.0, 10.0], [0.5, 0.4], "must rise", id="twice the same speed"),
        pytest.param([10.0], [0.5], "as many speeds as torques", id="one point"),
        pytest.param([10.0, 20.0], [0.5, -0.4], r"-0\.4 N m", id="negative torque"),
    ],
)
def test_a_curve_that_is_none_is_refused(speeds: list[float], torques: list[float], message: str) -> None:
    with pytest.raises(FormulaRangeError, match=message):
        motor.TorquePoints(np.array(speeds), np.array(torques), current=2.0, voltage=24.0)


def test_a_load_at_rest_deflects_the_rotor_to_where_the_spring_carries_it() -> None:
    lag = motor.static_lag(np.array([0.1, -0.3, 0.4, 0.41]), 0.4, 50)
    assert 0.4 * np.sin(50 * lag[:3]) == pytest.approx([0.1, -0.3, 0.4])
    assert lag[2] == pytest.approx(math.radians(1.8))  # at the pull-out of the holding torque: one full step
    assert math.isnan(lag[3])


def test_the_torque_of_one_microstep_is_what_deflects_by_one_microstep() -> None:
    for microsteps in (1, 4, 16):
        torque = 0.4 * math.sin(math.pi / (2 * microsteps))
        one = 2 * math.pi / (200 * microsteps)
        assert float(motor.static_lag(torque, 0.4, 50)) == pytest.approx(one, rel=1e-9)
