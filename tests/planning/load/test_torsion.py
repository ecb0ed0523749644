"""Trains that twist: the lowest frequency is what swings, all of them have bands, against SciPy's eigenvalues."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import integrate, linalg

from firmware_host.mechanics.train.vibration import index_residual_amplitude
from firmware_host.model.files.loading import Setup, load_job
from firmware_host.model.machine.gearing import GearingStage
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.load.case import load_case
from firmware_host.planning.load.torsion import RIGID, Torsion
from firmware_host.planning.plan import plan_job
from tests.planning.limits.report import named, names, report
from tests.planning.limits.workshop import DELETE, job, machine, roller_machine


def belt_chuck(stiffness: str) -> Setup:
    setup = load_job("shaft-scale")
    belt = GearingStage.model_validate(setup.machine.gearing[0].model_dump() | {"torsional_stiffness": stiffness})
    return replace(setup, machine=setup.machine.model_copy(update={"gearing": (belt,)}))


def test_the_belt_chuck_with_50_newton_metres_per_rad_swings_at_59_hertz() -> None:
    # By hand: nema23-short, 1.1 N m at 2.8 A, at 2.4 A: k_m = 50 * 1.1/sqrt(2) * 2.4/2.8; rotor 270 + pulley 60 g cm^2;
    # pulley 1900, chuck 4200 and 1.85 kg of 50 mm, 9 times smaller at the motor. Stiff: 71.5 Hz, free pair: 219 Hz.
    spring = 50 * 1.1 / math.sqrt(2) * 2.4 / 2.8
    rotor, part = 330e-7, (6100e-7 + 1.85 * 0.025**2 / 2 + 1.85 * 0.0001**2) / 9
    assert math.sqrt(spring / (rotor + part)) / (2 * math.pi) == pytest.approx(71.5, abs=0.05)
    assert math.sqrt(50 * (1 / rotor + 1 / part)) / (2 * math.pi) == pytest.approx(219, abs=0.5)
    squares = linalg.eigh([[spring + 50, -50], [-50, 50]], np.diag([rotor, part]), eigvals_only=True)
    setup = belt_chuck("50 N*m/rad")
    load = load_case(setup.machine, setup.job)
    assert load.natural_frequency / (2 * math.pi) == pytest.approx(59.2, abs=0.05)
    assert load.natural_frequency == pytest.approx(math.sqrt(squares[0]))
    (upper,) = load.torsion.upper
    assert (upper.lowest, upper.highest) == pytest.approx((0.9 * math.sqrt(squares[1]), 1.1 * math.sqrt(squares[1])))


def test_a_softer_belt_never_makes_the_index_quicker() -> None:
    taken = [plan_job(belt_chuck(f"{k} N*m/rad")).limits.motion.timing.index_s for k in (1e6, 300, 50, 20)]
    assert taken == sorted(taken)


def test_stiffness_counts_as_seen_from_its_driving_shaft_behind_another_stage() -> None:
    # 2:1 without stiffness before 4:1 with 80 N m/rad at its driving shaft: 20 N m/rad at the motor.
    before = {"name": "gears", "kind": "spur-gears", "driving_teeth": 20, "driven_teeth": 40, "efficiency": 0.9}
    before |= {"driving_inertia": "1e-6 kg*m^2", "driven_inertia": "2e-6 kg*m^2"}
    behind: dict[str, Any] = machine().gearing[0].model_dump() | {"torsional_stiffness": "80 N*m/rad"}
    load = load_case(machine(gearing=[before, behind]), job())
    part = 2.2 * 0.03**2 / 2 + 2.2 * 0.0002**2
    rotor = 2e-5 + 1e-6 + (2e-6 + 2e-6) / 4
    far = (3e-4 + 5e-4 + part) / 64
    spring = 50 * math.sqrt(0.5)
    squares = linalg.eigh([[spring + 20, -20], [-20, 20]], np.diag([rotor, far]), eigvals_only=True)
    assert load.natural_frequency == pytest.approx(math.sqrt(squares[0]))
    assert load.torsion.compliance == pytest.approx(1 / (80 * 16))


def test_pulleys_without_inertia_leave_their_springs_in_series() -> None:
    stage: dict[str, Any] = machine().gearing[0].model_dump() | {"torsional_stiffness": "80 N*m/rad"}
    light = stage | {"driving_inertia": "0 kg*m^2", "driven_inertia": "0 kg*m^2"}
    load = load_case(machine(gearing=[stage, light]), job())
    single = load_case(machine(gearing=[light, light]), job())
    assert len(load.torsion.upper) == 2
    assert len(single.torsion.upper) == 1


def test_cruising_at_the_upper_frequency_is_in_a_band_too() -> None:
    rig = machine(gearing__0__torsional_stiffness="40 N*m/rad", driver__microsteps=4)
    (upper,) = load_case(rig, job()).torsion.upper
    rate = (upper.lowest + upper.highest) / 2 / (2 * math.pi)  # full steps/s
    speed = rate / 200 * 2 * math.pi / 4
    stiff = machine(driver__microsteps=4)
    assert named(report(rig, speed=speed, acceleration=60.0), "resonance").verdict is Verdict.EXCEEDED
    assert named(report(stiff, speed=speed, acceleration=60.0), "resonance").verdict is Verdict.HOLDS


def test_a_belt_without_stiffness_is_told_and_stops_nothing() -> None:
    check = named(report(machine(gearing__0__torsional_stiffness=DELETE)), "twist")
    assert (check.verdict, check.stops) == (Verdict.NOT_KNOWN, False)
    assert "gearing.belt.torsional_stiffness" in check.remedy


def test_gears_and_bare_rollers_do_not_twist() -> None:
    gears = {"kind": "spur-gears", "belt_tension": DELETE, "torsional_stiffness": DELETE}
    found = report(machine(**{f"gearing__0__{key}": value for key, value in gears.items()}))
    assert "twist" not in names(found)
    assert "twist" not in names(report(roller_machine()))


def test_friction_and_imbalance_twist_a_belt_by_its_stiffness() -> None:
    # 0.1 N m and 2.2 kg * 0.2 mm on 50 N m/rad behind 4:1, which is 800 N m/rad at the part; radius 30 mm.
    check = named(report(machine(gearing__0__torsional_stiffness="50 N*m/rad")), "twist")
    assert check.value == pytest.approx((0.1 + 2.2 * 9.80665 * 0.0002) / 800 * 0.03)
    assert check.limit == pytest.approx(0.025e-3)


# --- The swing of the part beyond its belt, integrated ---------------------------------------------------------------


def integrated(stiffness: float, ramp: float, cruise: float, acceleration: float) -> tuple[float, float, float]:
    """(amplitude of the part after the index, its largest acceleration, that of the motor's torque over all), undamped.

    Of the test machine with that belt, as seen from the motor: SciPy integrates rotor and part behind the command. The
    amplitude from the energy that is left in each mode.
    """
    spring = 50 * math.sqrt(0.5)
    rotor, part = 2.2e-5, (8e-4 + 2.2 * 0.03**2 / 2 + 2.2 * 0.0002**2) / 16
    ends = np.cumsum([0.0, ramp, cruise, ramp])

    def lags(t: float, y: np.ndarray) -> list[float]:
        commanded = acceleration * ((ends[0] <= t < ends[1]) * 1.0 - (ends[2] <= t < ends[3]) * 1.0)
        e1, e2, v1, v2 = y
        pull = stiffness * (e1 - e2)
        return [v1, v2, commanded - (spring * e1 + pull) / rotor, commanded + pull / part]

    state, most, torque = np.zeros(4), 0.0, 0.0
    for start, end in itertools.pairwise(ends.tolist()):
        if end == start:
            continue
        times = np.linspace(start, end - 1e-12, 2001)
        solved = integrate.solve_ivp(
            lags, (start, end - 1e-12), state, t_eval=times, rtol=1e-9, atol=1e-13, max_step=2e-4
        )
        state = solved.y[:, -1]
        most = max(most, float(np.abs(stiffness * (solved.y[0] - solved.y[1]) / part).max()))
        torque = max(torque, float(np.abs(spring * solved.y[0]).max()))
    squares, shapes = linalg.eigh([[spring + stiffness, -stiffness], [-stiffness, stiffness]], np.diag([rotor, part]))
    mass = np.diag([rotor, part])
    left = np.hypot(shapes.T @ mass @ state[:2], shapes.T @ mass @ state[2:] / np.sqrt(squares))
    return float((np.abs(shapes[1]) * left).sum()), most, torque / (rotor + part)


@pytest.mark.some(4)
@pytest.mark.parametrize("stiffness", [pytest.param(k, id=f"{k:g} N m per rad") for k in (15.0, 40.0, 200.0)])
@pytest.mark.parametrize(
    ("ramp", "cruise"),
    [
        pytest.param(0.011, 0.0, id="triangle"),
        pytest.param(0.017, 0.006, id="trapezoid"),
        pytest.param(0.0235, 0.03, id="long"),
    ],
)
def test_a_part_beyond_its_belt_swings_no_more_than_is_counted(stiffness: float, ramp: float, cruise: float) -> None:
    load = load_case(machine(gearing__0__torsional_stiffness=f"{stiffness} N*m/rad"), job())
    w, a = load.natural_frequency, 300.0
    left, most, torque = integrated(stiffness, ramp, cruise, a)
    single = w**2 * float(index_residual_amplitude(a, ramp, cruise, w))
    counted = float(load.torsion.swing(single, a))
    assert left * w**2 <= counted * (1 + 1e-6)
    # The single oscillator's own peak, summed jump by jump; at most four times its steady value.
    t = np.linspace(0, 2 * ramp + cruise, 20001)
    jumps = ((0.0, 1), (ramp, -1), (ramp + cruise, -1))
    swung = sum(sign * (t >= at) * (1 - np.cos(w * np.maximum(t - at, 0))) for at, sign in jumps)
    peak = float(load.torsion.peak(np.abs(swung).max()))
    assert max(most, torque) <= a * peak * (1 + 1e-3)


def test_a_stiff_train_swings_as_a_single_oscillator() -> None:
    assert float(RIGID.peak(2.5)) == 2.5
    assert float(RIGID.swing(7.0, 100.0)) == 7.0


def test_the_swing_beyond_a_soft_belt_counts_in_settling_and_in_the_peaks(monkeypatch: pytest.MonkeyPatch) -> None:
    rig = machine(gearing__0__torsional_stiffness="30 N*m/rad", driver__microsteps=64)
    torsion = load_case(rig, job()).torsion
    assert torsion.first > 1.01
    counted = report(rig)
    words = named(counted, "torque-peak").formula.split()
    pushing, holding = (float(word.removesuffix("*alpha")) for word in words if word.endswith("*alpha"))
    assert min(pushing, holding) >= 1.8587 * torsion.first * 0.99
    monkeypatch.setattr(Torsion, "swing", lambda self, left, acceleration: np.asarray(left))
    plain = report(rig)
    assert counted.motion.timing.settle_s > plain.motion.timing.settle_s > 0
