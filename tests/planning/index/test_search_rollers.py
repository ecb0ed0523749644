"""The chosen motion of parts on rollers: a brute-force grid, its grip by the full plane statics of every body."""

import itertools
import math
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_host.errors import LimitExceededError
from firmware_host.mechanics.train.oscillators import few as few_oscillators
from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.index.ringing import settle_times
from firmware_host.planning.index.safe_motion import SafeMotion
from firmware_host.planning.index.times import times_of
from firmware_host.planning.load.case import LoadCase, load_case
from tests.mechanics.contact.test_rollers_statics import solved
from tests.planning.index.brute_force import Rig, grips, peaks
from tests.planning.index.workshop import cruises_in_a_band, safe_motion, swing_factors
from tests.planning.limits.workshop import DELETE, job, roller_machine

GRID, LEFT = 80, 0.8


def random_rollers(rng: np.random.Generator) -> tuple[LoadCase, float, float]:
    """A part on rollers with one row driven, its friction, and the turns of its index."""
    diameter, friction = rng.uniform(30, 110), 10 ** rng.uniform(-0.8, 0.2)
    rig = roller_machine(
        centre_distance=f"{rng.uniform(0.32, 0.85) * (diameter + 25):.6f} mm",
        roller_inertia=f"{10 ** rng.uniform(-6.5, -4.8):.12f} kg*m^2",
        friction=friction,
        rolling_resistance=f"{rng.uniform(0.01, 0.5):.6f} mm",
        idle_friction_torque=f"{rng.uniform(0, 0.3):.6f} N*mm",
    )
    work = job(
        part__diameter=f"{diameter:.6f} mm",
        part__mass=f"{10 ** rng.uniform(-0.7, 0.7):.6f} kg",
        part__density=DELETE,
        part__mass_offset=f"{rng.uniform(0, 0.5):.6f} mm",
    )
    return load_case(rig, work), friction, 10 ** rng.uniform(-2.0, 0.3)


def judged(
    load: LoadCase, friction: float, turns: float, a: np.ndarray, v: np.ndarray, slack: float = 0.0
) -> np.ndarray:
    """Seconds of an index with its settling, infinite where its grip, its torque or its step rate is short."""
    moves = index_moves(np.array([turns]))
    lowest = np.minimum.accumulate(load.pull_out(np.linspace(0, 1, 400) * v.max()))
    allowed = LEFT * (1 + slack) * np.interp(v, np.linspace(0, 1, 400) * v.max(), lowest)
    fits = grips(load, a, a, v, slack) & (2 * load.torque(a).accelerating <= allowed)
    fits &= (load.step_rate(v) <= LEFT * (1 + slack) * 80e3) & ~cruises_in_a_band(load, load.ratio, turns, a, v)
    at, left = (np.broadcast_to(each, fits.shape)[fits] for each in (a, allowed))
    up, down = (factor[fits] * at for factor in swing_factors(load, moves, a, v, fits))
    peak = np.maximum(load.torque(up).accelerating, load.torque(down).braking)
    fits[fits] = grips(load, up, down, np.broadcast_to(v, fits.shape)[fits], slack) & (peak <= left)
    settling = settle_times(load, moves, a, v, few_oscillators(load.natural_band, load.damping, 13, 3))
    return np.where(fits, times_of(moves, a, v).duration[..., 0] + settling, np.inf)


def chosen(load: LoadCase, turns: float) -> SafeMotion | None:
    try:
        return safe_motion(load, np.array([turns]))
    except LimitExceededError:
        return None


@pytest.mark.parametrize("rollers", [15, pytest.param(100, marks=pytest.mark.slow)])
def test_no_pair_of_a_brute_force_grid_is_quicker_on_random_rollers(rollers: int) -> None:
    rng = np.random.default_rng(20260125)
    bound_by: Counter[str] = Counter()
    slower, stuck = [], 0
    while len(slower) < rollers:
        load, friction, turns = random_rollers(rng)
        found = chosen(load, turns)
        if found is None:
            still = np.array(1e-9)
            assert not grips(load, still, still, still)
            stuck += 1
            continue
        a = np.geomspace(0.05, 6, GRID)[:, None] * found.acceleration
        v = np.geomspace(0.1, 6, GRID)[None, :] * found.speed
        pair = np.array([[found.acceleration]]), np.array([[found.speed]])
        assert np.isfinite(judged(load, friction, turns, *pair, slack=1e-5)).all(), found
        best = judged(load, friction, turns, a, v).min()
        slower.append(found.timing.index_s / best)
        bound_by.update(found.binding)
    assert max(slower) <= 1.01
    assert bound_by["grip-peak"] > 0.3 * rollers
    assert bound_by["seating-peak"] >= 0.04 * rollers
    assert stuck < rollers / 2


few = settings(max_examples=8, deadline=None, derandomize=True)


@few
@given(st.sampled_from([1, 2]), st.floats(min_value=1.05, max_value=4.0), st.floats(min_value=0.02, max_value=1.0))
def test_slipperier_rollers_never_make_the_chosen_index_quicker(rows: int, factor: float, turns: float) -> None:
    taken = []
    for mu in (0.8, 0.8 / factor):
        found = chosen(load_case(roller_machine(driven_rows=rows, friction=mu), job()), turns)
        taken.append(math.inf if found is None else found.timing.index_s)
    assert taken[0] <= taken[1] * 1.005  # the search's own coarseness


@few
@given(st.sampled_from([1, 2]), st.floats(min_value=1.05, max_value=8.0), st.floats(min_value=0.02, max_value=1.0))
def test_a_more_eccentric_part_never_makes_the_chosen_index_quicker(rows: int, factor: float, turns: float) -> None:
    taken = []
    for offset in (0.3, 0.3 * factor):
        load = load_case(roller_machine(driven_rows=rows, friction=0.3), job(part__mass_offset=f"{offset} mm"))
        found = chosen(load, turns)
        taken.append(math.inf if found is None else found.timing.index_s)
    assert taken[0] <= taken[1] * 1.005  # the search's own coarseness


@pytest.mark.parametrize("rows", [1, 2], ids=["one row driven", "both rows driven"])
def test_a_long_index_uses_the_grip_up_to_four_fifths_at_the_peak_of_its_swing(rows: int) -> None:
    load = load_case(roller_machine(driven_rows=rows, friction=0.3), job())
    found = safe_motion(load, np.array([3.0]))
    trough = load.trough
    assert trough is not None
    assert "grip-peak" in found.binding
    # The swing by the answers to the jumps, sampled in time, and the traction at it by SciPy's plane statics.
    up, down = peaks(Rig("rollers", load, 6 * math.pi), found.acceleration, found.speed, 41, 5, 400)
    used, throw = 0.0, trough.unbalance * found.speed**2
    for sense, angle, swing in itertools.product((1.0, -1.0), np.arange(48) * math.pi / 24, (up, -down)):
        place = math.cos(angle), math.sin(angle)
        torque, pulls = place[0] * load.imbalance_torque, (throw * place[0], throw * place[1])
        normal, other, traction, to = solved(
            trough, trough.driven, sense * swing * found.acceleration, torque, sense, pulls
        )
        share = (traction + to) / (normal + other) if rows == 2 else traction / normal
        used = max(used, abs(share))
    assert 0.8 * 0.3 * 0.994 < used <= 0.8 * 0.3 * 1.0001
