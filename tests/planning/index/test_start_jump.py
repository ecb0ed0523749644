"""What a step of speed at both ends adds to swing and peaks, against the oscillator integrated in time (SciPy)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate

from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.index.peaks import largest_peaks
from firmware_host.planning.index.ringing import half_microstep, longest_settling
from firmware_host.planning.load.case import load_case
from firmware_host.planning.load.start import StartJump
from firmware_host.planning.route.velocity import plan_index
from tests.planning.limits.workshop import job, machine

PLAIN = load_case(machine(), job())


def lag(length: float, a: float, v: float, jump: StartJump, natural: float, damping: float) -> tuple[np.ndarray, ...]:
    """(t, e) of a move with the steps of speed of `jump` at its ends; t = 0 at its end."""
    move = plan_index(length, a, v)
    ramp, cruise = float(move.ramp_time), float(move.cruise_time)
    state, at, times, lags = [0.0, -float(jump.of(a))], -(2 * ramp + cruise), [], []
    for seconds, push in ((ramp, a), (cruise, 0.0), (ramp, -a), (0.3, 0.0)):
        if seconds <= 0:
            continue
        if at > -1e-12:
            state[1] += jump.speed
        found = integrate.solve_ivp(
            lambda _, y, push=push: [y[1], -push - 2 * damping * natural * y[1] - natural**2 * y[0]],
            (0, seconds), state, rtol=1e-8, atol=1e-13, max_step=0.2 / natural,
        )  # fmt: skip
        times.append(at + found.t)
        lags.append(found.y[0])
        state, at = [float(found.y[0, -1]), float(found.y[1, -1])], at + seconds
    return np.concatenate(times), np.concatenate(lags)


@pytest.mark.some(1)
@pytest.mark.parametrize("length", [0.02, 0.1, 0.4], ids=lambda length: f"{length} rad")
@pytest.mark.parametrize("jump", [StartJump(0.05), StartJump(0.3), StartJump(0.01, 2e-3)], ids=["low", "high", "late"])
def test_no_machine_of_the_band_swings_or_rings_more_than_is_told(length: float, jump: StartJump) -> None:
    load, moves = replace(PLAIN, start=jump), index_moves(np.array([length / (2 * np.pi)]))
    a, v = 60.0, 8.0
    settle = float(longest_settling(load, moves, a, v).max())
    pushing, holding = largest_peaks(load, moves, a, v)
    worst_settle = worst_peak = 0.0
    for share in (0.9, 1.0, 1.1):
        for damping in (0.05, 0.1, 0.2):
            natural = load.natural_frequency * share
            t, e = lag(length, a, v, jump, natural, damping)
            out = np.flatnonzero((t > 0) & (abs(e) > half_microstep(load)))
            worst_settle = max(worst_settle, float(t[out[-1]]) if out.size else 0.0)
            worst_peak = max(worst_peak, float(abs(e).max()) * natural**2 / a)
    assert worst_settle <= settle
    assert worst_peak <= max(pushing, holding)
    plain = largest_peaks(PLAIN, moves, a, v)
    assert pushing > plain[0]
    assert holding > plain[1]
    assert settle < 3 * worst_settle + 0.02


def test_a_jump_that_leaves_out_no_more_than_whole_steps_do_swings_nothing() -> None:
    """By hand: at 60 rad/s^2 and 0.001 rad a step, 1.5 steps are left out at sqrt(2 * 60 * 0.0015) = 0.424 rad/s."""
    moves = index_moves(np.array([0.1 / (2 * np.pi)]))
    plain = largest_peaks(PLAIN, moves, 60.0, 8.0)
    assert largest_peaks(replace(PLAIN, start=StartJump(0.42, 0.0, 1e-3)), moves, 60.0, 8.0) == plain
    assert largest_peaks(replace(PLAIN, start=StartJump(0.43, 0.0, 1e-3)), moves, 60.0, 8.0)[0] > plain[0]
