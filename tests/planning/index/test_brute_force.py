"""The chosen index against a brute force that knows nothing of the package's ringing, by kind of drive."""

import math

import numpy as np
import pytest

from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.index.safe_motion import motion_for
from tests.planning.index.brute_force import (
    LIMITS,
    Rig,
    drawn_rig,
    keeps_at_its_peaks,
    keeps_steadily,
    lag,
    peaks,
    quickest,
    settle,
)
from tests.planning.index.test_ringing import lag_in_time

KINDS = ("direct", "belt", "worm", "rollers")


@pytest.mark.parametrize("damping", [0.05, 0.08, 0.2], ids=lambda zeta: f"damping {zeta:g}")
@pytest.mark.parametrize(("ramp", "brake"), [(0.013, 0.013), (0.021, 0.05)], ids=["triangle", "trapezoid"])
def test_the_brute_force_s_lag_is_what_scipy_integrates(ramp: float, brake: float, damping: float) -> None:
    w = 450.0
    times, integrated = lag_in_time([(ramp, 1.0), (brake - ramp, 0.0), (ramp, -1.0)], w, damping, 0.05)
    e, _ = lag(times + ramp + brake, np.float64(ramp), np.float64(brake), np.float64(w), np.float64(damping))
    assert integrated == pytest.approx(e, abs=1e-10)


def compared(rng: np.random.Generator, kind: str) -> float:
    """How many times as long as the brute force's index the chosen one takes; never over what it has to keep."""
    rig = drawn_rig(rng, kind)
    found = motion_for(rig.load, index_moves(np.array([rig.angle / (2 * math.pi)])), limits=LIMITS)
    keeps_everything(rig, found.acceleration, found.speed, found.timing.settle_s)
    return found.timing.index_s / quickest(rig)[2]


def keeps_everything(rig: Rig, a: float, v: float, settle_s: float) -> None:
    pair = np.array([a]), np.array([v])
    assert settle(rig, *pair, 201, 41)[0] <= settle_s
    assert keeps_steadily(rig, *pair, slack=1e-6)[0]
    assert keeps_at_its_peaks(rig, a, v, *peaks(rig, a, v, 41, 9, 200), slack=1e-6)


@pytest.mark.some(1)
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "machines", [1, pytest.param(50, marks=[pytest.mark.slow, pytest.mark.timeout(1800)])], ids=["one", "all"]
)
def test_no_chosen_index_takes_two_hundredths_longer_than_the_brute_force_s(machines: int, kind: str) -> None:
    rng = np.random.default_rng([2026, KINDS.index(kind)])
    ratios = [compared(rng, kind) for _ in range(machines)]
    assert max(ratios) <= 1.02, f"{kind}: median {np.median(ratios):.4f}, worst {max(ratios):.4f}"
