"""The chosen speed and acceleration on the test machine: what binds them, what is kept, and what is refused."""

import math
from typing import Any

import numpy as np
import pytest
from scipy import constants

from firmware_host.errors import LimitExceededError
from firmware_host.planning.index.moves import index_moves
from firmware_host.planning.index.timing import index_timing
from firmware_host.planning.limit_report import check_limits
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.load.case import LoadCase, load_case
from firmware_host.planning.route.moves import Purpose
from tests.planning.index.workshop import safe_motion
from tests.planning.limits.workshop import DELETE, job, machine, roller_machine

PART = 2.2 * 0.03**2 / 2 + 2.2 * 0.0002**2
BEYOND = 3e-4 + 5e-4 + PART
STEADY = (0.1 + 2.2 * constants.g * 0.0002) / 3.6
PER_ACCELERATION = 2.2e-5 * 4 + BEYOND / 3.6
MOTION_CHECKS = {
    "torque-accelerating",
    "torque-braking",
    "torque-peak",
    "step-rate-driver",
    "step-rate-controller",
    "step-pulse",
    "grip",
    "seating",
    "grip-peak",
    "seating-peak",
    "resonance",
    "supply-current",
    "supply-voltage",
}


def pull_out(part_speed: np.ndarray) -> np.ndarray:
    """The test motor's torque by its points, at the part's speed."""
    return np.interp(4 * part_speed, [10, 40, 100], [0.8, 0.6, 0.12], right=0.0)


def seconds(load: LoadCase, turns: np.ndarray, acceleration: float, speed: float) -> float:
    """Move and settling of an average index."""
    return index_timing(load, index_moves(turns), acceleration, speed).index_s


@pytest.mark.parametrize(
    ("rig", "work"),
    [
        pytest.param(machine(), job(), id="chuck"),
        pytest.param(machine(motor__torque_curve=DELETE), job(), id="by electrical data"),
        pytest.param(machine(link__highest_step_rate="9 kHz"), job(), id="slow board"),
        pytest.param(roller_machine(), job(part__mass="0.5 kg", part__density=DELETE), id="rollers"),
        pytest.param(roller_machine(driven_rows=2, friction=0.8), job(), id="both rows"),
    ],
)
@pytest.mark.parametrize("turns", [pytest.param(0.004, id="short"), pytest.param(0.7, id="long")])
def test_the_safe_motion_holds_every_limit_that_depends_on_it(rig: Any, work: Any, turns: float) -> None:
    found = check_limits(rig, work, index_turns=np.array([turns, turns / 2]), speed=None, acceleration=None)
    moving = [check for check in found.checks if check.name in MOTION_CHECKS]
    assert {check.verdict for check in moving} == {Verdict.HOLDS}
    binding = [check for check in moving if check.name in found.motion.binding]
    assert all(check.margin == pytest.approx(0.2, abs=4e-3) for check in binding)
    assert binding or "ringing" in found.motion.binding


def test_beyond_a_dip_in_the_curve_the_torque_of_the_dip_is_all_there_is() -> None:
    dip = [{"speed": f"{v} rad/s", "torque": f"{t} N*m"} for v, t in ((10, 0.8), (30, 0.3), (50, 0.7), (200, 0.6))]
    load = load_case(machine(motor__torque_curve__points=dip), job())
    found = safe_motion(load, np.array([20.0]), reserve=0.0)
    assert found.speed > 30 / 4
    assert "torque-accelerating" in found.binding
    assert found.acceleration == pytest.approx((0.3 / 2 - STEADY) / PER_ACCELERATION, rel=2e-3)
    # A short index stays on this side of the dip.
    assert safe_motion(load, np.array([0.05]), reserve=0.0).speed < 30 / 4


def test_a_slow_board_binds_the_speed_and_slippery_rollers_the_acceleration() -> None:
    slow = safe_motion(load_case(machine(link__highest_step_rate="9 kHz"), job()), np.array([2.0]))
    assert slow.speed == pytest.approx(0.8 * 9e3 / 3200 * 2 * math.pi / 4, rel=1e-3)
    assert "step-rate-controller" in slow.binding
    slippery = safe_motion(load_case(roller_machine(friction=0.15), job()), np.array([0.5]))
    assert "grip-peak" in slippery.binding


@pytest.mark.parametrize("turns", [pytest.param(0.02, id="short"), pytest.param(1.0, id="long")])
def test_a_stated_speed_is_kept_and_gets_the_quickest_acceleration_safe_at_it(turns: float) -> None:
    load, moves = load_case(machine(), job()), np.array([turns])
    found = safe_motion(load, moves, speed=12.0, reserve=0.0)
    highest = (float(pull_out(np.array(12.0))) / 2 - STEADY) / PER_ACCELERATION
    assert found.speed == 12.0
    assert found.acceleration <= highest * (1 + 1e-6)
    others = [seconds(load, moves, a, 12.0) for a in np.geomspace(0.05, 1, 400) * highest / 2]
    assert seconds(load, moves, found.acceleration, 12.0) <= min(others) * (1 + 1e-3)


def test_a_stated_acceleration_is_kept_and_gets_the_highest_speed_safe_at_it() -> None:
    found = safe_motion(load_case(machine(), job()), np.array([50.0]), acceleration=100.0, reserve=0.0)
    assert found.acceleration == 100.0
    needed = 2 * (STEADY + PER_ACCELERATION * 100.0)
    highest = np.interp(needed, [0.12, 0.6, 0.8], [100, 40, 10]) / 4
    assert found.speed == pytest.approx(highest, rel=2e-3)


def test_with_both_stated_there_is_nothing_to_choose_and_the_settling_is_told() -> None:
    load = load_case(machine(), job())
    found = safe_motion(load, np.array([0.1]), speed=3.0, acceleration=50.0)
    assert (found.acceleration, found.speed, found.binding) == (50.0, 3.0, ("as-stated",))
    assert found.timing.move_s == pytest.approx(0.2 * math.pi / 3 + 3 / 50)


def test_the_resonant_band_is_cruised_beside() -> None:
    # So heavy a load that the best speed for a long index would lie in the band: the search must leave it.
    rig = machine(driver__microsteps=1, motor__rotor_inertia="1e-3 kg*m^2", link__highest_step_rate="60 Hz")
    load = load_case(rig, job())
    found = check_limits(rig, job(), index_turns=np.array([3.0]), speed=None, acceleration=None)
    resonance = next(check for check in found.checks if check.name == "resonance")
    natural_hz = load.natural_frequency / (2 * math.pi)
    assert 60 * 0.8 / natural_hz > 0.9  # the step rate alone would allow the band
    assert resonance.verdict is Verdict.HOLDS


def test_many_short_indexes_outweigh_a_long_one() -> None:
    load = load_case(machine(), job())
    mixed = np.append(np.full(200, 0.01), 1.0)
    found, long = safe_motion(load, mixed), safe_motion(load, np.array([1.0]))
    assert seconds(load, mixed, found.acceleration, found.speed) < 0.95 * seconds(
        load, mixed, long.acceleration, long.speed
    )


def test_a_move_that_no_gate_follows_needs_no_settling() -> None:
    load = load_case(machine(), job())
    turns, unwinding = np.array([0.05, 0.05, 0.1]), np.array([Purpose.INDEX, Purpose.INDEX, Purpose.FINISH], np.int8)
    ending = index_timing(load, index_moves(turns, unwinding), 80.0, 30.0)
    without = index_timing(load, index_moves(turns[:2]), 80.0, 30.0)
    assert (ending.move_s, ending.settle_s) == (without.move_s, without.settle_s)
    assert index_timing(load, index_moves(turns[2:]), 80.0, 30.0).settle_s != without.settle_s


def test_no_index_at_all_still_gets_a_motion_for_one_turn() -> None:
    load = load_case(machine(), job())
    assert safe_motion(load, np.zeros(0)) == safe_motion(load, np.array([1.0]))


def test_a_load_that_the_motor_cannot_even_turn_has_no_safe_motion() -> None:
    load = load_case(machine(drive__friction_torque="2 N*m"), job())
    with pytest.raises(LimitExceededError, match=r"torque-accelerating: wanted more than 0 rad/s\^2"):
        safe_motion(load, np.array([0.1]))


def test_an_acceleration_no_speed_allows_is_named_with_what_is_safe() -> None:
    load = load_case(machine(), job())
    highest = ((0.8 * 0.8) / 2 - STEADY) / PER_ACCELERATION
    with pytest.raises(LimitExceededError, match=rf"wanted more than 5000 rad/s\^2 .* at most {highest:.4g} rad/s"):
        safe_motion(load, np.array([0.1]), acceleration=5000.0)
