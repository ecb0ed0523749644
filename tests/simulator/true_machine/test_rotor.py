"""The rotor on its torque curve, against SciPy's integration, closed forms, and the balance of energy."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from firmware_host.mechanics.train.torsion import train_modes
from firmware_host.mechanics.train.vibration import index_residual_amplitude
from firmware_host.simulator.device import Stretch
from firmware_host.simulator.true_machine.field import field_of, ramp
from firmware_host.simulator.true_machine.integrate import (
    State,
    advance,
    coefficients,
    filmed,
    moved,
    standing,
    swung,
)
from firmware_host.simulator.true_machine.repeats import lost_steps
from firmware_host.simulator.true_machine.rotor import Rotor
from tests.simulator.true_machine.machines import by_scipy, energy, rotor

FULL_STEP = 2 * math.pi / 200


def _pulses(of: Rotor, angle: float) -> float:
    return angle / of.pulse


def _move(of: Rotor, angle: float, acceleration: float, speed: float) -> tuple[Stretch, ...]:
    """Angles at the motor."""
    return ramp(round(_pulses(of, angle)), _pulses(of, acceleration), _pulses(of, speed))


@pytest.mark.parametrize(
    ("acceleration", "lost"),
    [pytest.param(600.0, 0, id="gentle"), pytest.param(1800.0, 0, id="hard"), pytest.param(4200.0, 1, id="too hard")],
)
def test_a_move_comes_out_as_scipy_integrates_it(acceleration: float, lost: int) -> None:
    of = rotor()
    move = _move(of, 4.5, acceleration, 60.0)
    lasts = sum(each.duration_s for each in move)
    field = field_of(move, of.step)
    state = moved(of, standing(0.0), field.places * of.pulse, field.rates * of.pulse, field.step)
    state = swung(of, state, round(_pulses(of, 4.5)) * of.pulse, 0.5)
    ends = by_scipy(of, move, lasts + 0.5)(lasts + 0.5)
    assert state.load == pytest.approx(ends[1], abs=FULL_STEP / 200)
    poles = (move[-1].last * of.pulse - ends[0]) * of.teeth / (2 * math.pi)
    assert (round(poles) != 0) == bool(lost)
    assert lost_steps([of], [move], np.zeros((1, 1)))[0, 0] == 4 * round(poles)


def test_on_its_way_it_is_never_farther_from_scipys_than_a_hundredth_of_a_step() -> None:
    of = rotor()
    move = _move(of, 4.5, 1500.0, 30.0)
    field = field_of(move, of.step)
    exact = by_scipy(of, move, field.step * len(field.places))
    state, now, peaks = standing(0.0), coefficients(of, field.step), of.peak(field.rates * of.pulse)
    for number, (place, rate, peak) in enumerate(zip(field.places, field.rates, peaks, strict=True)):
        state = advance(state, [(place * of.pulse, rate * of.pulse, float(peak))], now)
        assert state.load == pytest.approx(exact((number + 1) * field.step)[1], abs=FULL_STEP / 100)


def test_it_swings_freely_at_its_natural_frequency_and_dies_out_by_its_damping_ratio() -> None:
    of = rotor(damping=0.06)
    frequency, ratio = of.swing()
    assert ratio == pytest.approx(0.06, rel=1e-3)
    start = State(FULL_STEP / 100, FULL_STEP / 100, 0.0, 0.0)
    seen = np.array(filmed(of, start, 0.0, 1e-4, 4000))
    peaks = [k for k in range(1, len(seen) - 1) if seen[k - 1] < seen[k] >= seen[k + 1]]
    period = (peaks[5] - peaks[1]) * 1e-4 / 4
    assert 1 / period == pytest.approx(frequency * math.sqrt(1 - ratio**2), rel=3e-3)
    decrement = math.log(seen[peaks[1]] / seen[peaks[5]]) / 4
    assert decrement / math.sqrt(4 * math.pi**2 + decrement**2) == pytest.approx(ratio, rel=0.01)


def test_the_undamped_frequency_is_the_lowest_mode_of_the_train() -> None:
    of = rotor(damping=0.005)
    spring = of.teeth * of.standing_torque
    lowest = train_modes(spring, [of.rotor_inertia, of.load_inertia], [of.spring]).lowest
    assert of.swing()[0] * 2 * math.pi == pytest.approx(lowest, rel=2e-3)


def test_after_a_small_move_it_rings_as_a_linear_oscillator_does() -> None:
    """Residual amplitude in closed form (mechanics/train/vibration), for a train too stiff to matter."""
    of = replace(rotor(damping=0.05), spring=4000.0)
    natural, ratio = of.swing()[0] * 2 * math.pi, of.swing()[1]
    acceleration, speed, angle = 100.0, 4.0, 0.4
    move = _move(of, angle, acceleration, speed)
    field = field_of(move, of.step)
    state = moved(of, standing(0.0), field.places * of.pulse, field.rates * of.pulse, field.step)
    seen = np.array(filmed(of, state, round(_pulses(of, angle)) * of.pulse, 1e-4, 1000))
    swing = abs(seen - round(_pulses(of, angle)) * of.pulse).max()
    up, along = speed / acceleration, angle / speed - speed / acceleration
    envelope = float(index_residual_amplitude(acceleration, up, along, natural, ratio))
    assert 0.75 * envelope < swing < 1.02 * envelope


def test_without_damping_or_friction_a_swing_keeps_its_energy() -> None:
    of = replace(rotor(), damping=0.0, train_damping=0.0)
    start = State(0.4 / of.teeth, 0.4 / of.teeth, 0.0, 0.0)
    now, peak, state = coefficients(of, of.step / 4), of.standing_torque, start
    first, seen = energy(of, *start), []
    for _ in range(40_000):
        before = state
        state = advance(state, [(0.0, 0.0, peak)], now)
        middle = State(*((a + b) / 2 for a, b in zip(before[:2], state[:2], strict=True)), *state[2:])
        seen.append(float(energy(of, *middle)))
    assert np.mean(seen[-4000:]) == pytest.approx(np.mean(seen[:4000]), rel=1e-3)
    assert np.mean(seen) == pytest.approx(float(first), rel=0.01)
    assert of.step / 4 * 40_000 > 2.0


def test_dry_friction_takes_what_it_does_along_the_way() -> None:
    of = replace(rotor(friction="0.02 N*m"), damping=0.0, train_damping=0.0)
    state = State(0.5 / of.teeth, 0.5 / of.teeth, 0.0, 0.0)
    first, way = float(energy(of, *state)), 0.0
    now, peak = coefficients(of, of.step / 4), of.standing_torque
    for _ in range(4000):
        before = float(state.load)
        state = advance(state, [(0.0, 0.0, peak)], now)
        way += abs(float(state.load) - before)
    assert first - float(energy(of, *state)) == pytest.approx(of.friction * way, rel=0.01)
    assert way > 0.5 / of.teeth


@pytest.mark.parametrize("speed", [5.0, 30.0, 60.0, 90.0])
def test_at_an_even_speed_it_pulls_just_its_pull_out_torque(speed: float) -> None:
    """A load of 97 % of it is carried for two turns, one of 103 % is not."""
    of = rotor(friction="0.1 N*m", damping=0.2)
    most = float(of.peak(speed))
    for share, keeps in ((0.97, True), (1.03, False)):
        loaded = replace(of, friction=share * most)
        ahead = math.asin(min(share, 1.0)) / of.teeth
        now = coefficients(loaded, loaded.step)
        state = State(-ahead, -ahead - share * most / of.spring, speed, speed)
        place = 0.0
        while place < 4 * math.pi:
            state = advance(state, [(place, speed, most)], now)
            place += speed * loaded.step
        assert (abs(place - float(state.rotor)) < math.pi / of.teeth) == keeps


def test_the_standstill_is_within_what_friction_holds() -> None:
    of = rotor(friction="0.3 N*m")
    move = _move(of, 3.0, 500.0, 20.0)
    field = field_of(move, of.step)
    state = moved(of, standing(0.0), field.places * of.pulse, field.rates * of.pulse, field.step)
    end = round(_pulses(of, 3.0)) * of.pulse
    rests = swung(of, state, end, 2.0)
    longer = swung(of, rests, end, 2.0)
    most = math.asin(of.friction / of.standing_torque) / of.teeth
    assert abs(float(rests.rotor) - end) <= most * 1.01
    assert float(longer.load) == pytest.approx(float(rests.load), abs=FULL_STEP / 500)


def test_the_many_lose_what_each_loses_alone() -> None:
    made = [rotor(friction=f"{0.02 * k} N*m", damping=0.05 + 0.01 * k, microsteps=16) for k in range(6)]
    moves = [_move(of, 4.5, 1200.0 + 900 * k, 35.0) for k, of in enumerate(made)]
    starts = np.linspace(-1, 1, 30).reshape(6, 5)
    together = lost_steps(made, moves, starts)
    alone = [lost_steps([of], [move], row[None]) for of, move, row in zip(made, moves, starts, strict=True)]
    assert together.shape == (6, 5)
    assert (together[:3] == 0).all()
    assert (together[-1] != 0).all()
    assert all(((one != 0) == (row != 0)).all() for one, row in zip(alone, together, strict=True))
    assert (together % 4 == 0).all()
