"""The chosen speed and acceleration against a brute-force grid, its limits written anew, on hundreds of machines."""

from collections import Counter

import numpy as np
import pytest

from firmware_host.planning.load.case import load_case
from tests.planning.index.workshop import index_seconds, random_machine, safe_motion, within_limits
from tests.planning.limits.workshop import job, machine

GRID = 120


@pytest.mark.parametrize("machines", [25, pytest.param(500, marks=[pytest.mark.slow, pytest.mark.timeout(600)])])
def test_no_pair_of_a_brute_force_grid_is_quicker_on_random_machines(machines: int) -> None:
    rng = np.random.default_rng(20260105)
    bound_by: Counter[str] = Counter()
    slower = []
    for _ in range(machines):
        rig = random_machine(rng)
        found = safe_motion(rig.load, rig.turns)
        a = np.geomspace(0.05, 6, GRID)[:, None] * found.acceleration
        v = np.geomspace(0.1, 6, GRID)[None, :] * found.speed
        best = np.where(within_limits(rig, a, v), index_seconds(rig, a, v), np.inf).min()
        chosen = np.array([[found.acceleration]]), np.array([[found.speed]])
        assert within_limits(rig, *chosen, slack=2e-3).all(), found  # to the brute force's own interpolation
        slower.append(float(index_seconds(rig, *chosen)[0, 0] / best))
        bound_by.update(found.binding)
    assert max(slower) <= 1.01
    assert min(slower) > 0.8  # the grid's own coarseness: no pair that it wouldn't come near
    assert {"torque-accelerating", "step-rate-controller", "index-length", "ringing"} <= set(bound_by)
    assert min(bound_by["supply-current"], bound_by["supply-voltage"]) > machines / 50


def test_a_fine_grid_around_the_choice_finds_nothing_better() -> None:
    rng = np.random.default_rng(77)
    for _ in range(6):
        rig = random_machine(rng)
        found = safe_motion(rig.load, rig.turns)
        a = np.geomspace(0.25, 3, 200)[:, None] * found.acceleration
        v = np.geomspace(0.25, 3, 200)[None, :] * found.speed
        best = np.where(within_limits(rig, a, v), index_seconds(rig, a, v), np.inf).min()
        assert found.timing.index_s <= best * 1.01


@pytest.mark.parametrize("reserve", [pytest.param(0.0, id="to the limit"), pytest.param(0.4, id="with reserve")])
@pytest.mark.parametrize("factor", [pytest.param(1.0, id="peak torque decides"), pytest.param(3.0, id="safe")])
def test_reserve_and_safety_factor_are_kept(reserve: float, factor: float) -> None:
    load = load_case(machine(), job(index={"safety_factor": factor}))
    found = safe_motion(load, np.array([3.0]), reserve=reserve)
    assert found.binding == ("torque-peak" if factor == 1 else "torque-accelerating",)
    needed = float(load.torque(found.acceleration).accelerating)
    # The step response at damping 0.05, 1 + exp(-0.05 (pi - 2 asin 0.05)/sqrt(1 - 0.05^2)), and half a hundredth more.
    peak = float(load.torque(1.859 * found.acceleration).accelerating)
    allowed = load.lowest_pull_out(found.speed) * (1 - reserve)
    assert max(factor * needed, peak) <= allowed * (1 + 1e-6)
    tighter = safe_motion(load, np.array([3.0]), reserve=reserve + 0.2)
    assert tighter.timing.index_s > found.timing.index_s
