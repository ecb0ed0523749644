"""The jerk-limited alternative: settled and within its peak torque by an oscillator integrated in time (SciPy)."""

import math

import numpy as np
import pytest
from scipy import integrate

from firmware_host.errors import LimitExceededError
from firmware_host.mechanics.train.jerk_profile import plan_jerk_limited
from firmware_host.planning.index.bound import move_bound
from firmware_host.planning.index.jerk import JerkLimitedMotion, jerk_limited_motion
from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.index.ringing import half_microstep
from firmware_host.planning.index.safe_motion import motion_for
from firmware_host.planning.load.case import load_case
from tests.planning.index.workshop import random_machine
from tests.planning.limits.workshop import job, machine

LOAD = load_case(machine(), job())
LENGTHS = [pytest.param(t, id=f"{t:g} turns") for t in (0.01, 1 / 12, 0.5)]


def chosen(turns: float) -> JerkLimitedMotion:
    return jerk_limited_motion(LOAD, index_moves(np.array([turns])), reserve=0.2)


def swing(turns: float, found: JerkLimitedMotion, off: float, damping: float) -> tuple[np.ndarray, np.ndarray]:
    """(t, lag) of the oscillator driven by the move, t = 0 at its end; four periods more."""
    move = plan_jerk_limited(2 * math.pi * turns, found.speed, found.acceleration, found.jerk)
    natural, end = off * LOAD.natural_frequency, float(move.duration)
    solution = integrate.solve_ivp(
        lambda t, y: [y[1], -float(move.acceleration_at(t)) - 2 * damping * natural * y[1] - natural**2 * y[0]],
        (0, end + 4 * 2 * math.pi / natural),
        [0.0, 0.0],
        rtol=1e-7,
        atol=1e-12,
        max_step=0.02 * 2 * math.pi / natural,
    )
    return solution.t - end, solution.y[0]


@pytest.mark.parametrize("off", [pytest.param(f, id=f"{f:g} of the frequency") for f in (0.9, 1.0, 1.1)])
@pytest.mark.parametrize("turns", LENGTHS)
def test_it_settles_in_the_time_told_and_stays_within_the_pull_out_torque(turns: float, off: float) -> None:
    found = chosen(turns)
    times, lag = swing(turns, found, off, 0.05)
    assert np.abs(lag[times >= found.timing.settle_s]).max() <= half_microstep(LOAD) * (1 + 1e-2)
    peak = np.abs(lag).max() * (off * LOAD.natural_frequency) ** 2
    needed = float(LOAD.torque(np.array(peak)).accelerating)
    assert needed <= LOAD.lowest_pull_out(found.speed) * 0.8 * (1 + 1e-3)


@pytest.mark.parametrize("turns", LENGTHS)
def test_steady_torque_and_step_rate_keep_their_reserve(turns: float) -> None:
    found = chosen(turns)
    needed = float(LOAD.torque(found.acceleration).accelerating)
    assert 2 * needed <= LOAD.lowest_pull_out(found.speed) * 0.8 * (1 + 1e-6)
    assert float(LOAD.step_rate(found.speed)) <= 80e3 * 0.8 * (1 + 1e-9)
    bound = float(move_bound(LOAD, np.array([2 * math.pi * turns]), reserve=0.2)[0])
    assert found.timing.move_s >= bound


def test_where_ringing_costs_most_it_is_quicker_than_one_constant_acceleration() -> None:
    moves = index_moves(np.array([1 / 12]))
    assert chosen(1 / 12).timing.index_s < 0.9 * motion_for(LOAD, moves).timing.index_s


def test_on_random_machines_it_is_seldom_slower() -> None:
    rng = np.random.default_rng(21)
    slower = 0
    for _ in range(30):
        rig = random_machine(rng)
        constant = motion_for(rig.load, rig.moves).timing.index_s
        slower += jerk_limited_motion(rig.load, rig.moves, reserve=0.2).timing.index_s > constant * 1.02
    assert slower <= 10


def test_a_load_that_does_not_move_is_refused() -> None:
    load = load_case(machine(drive__friction_torque="2 N*m"), job())
    with pytest.raises(LimitExceededError, match=r"no jerk-limited motion keeps every limit"):
        jerk_limited_motion(load, index_moves(np.array([0.1])), reserve=0.2)
