"""The chosen speed and acceleration against a brute-force grid, a phase-plane bound and the limits themselves."""

import math
from typing import Any

import numpy as np
import pytest
from scipy import constants, integrate, optimize

from firmware_host.errors import InputError, LimitExceededError
from firmware_host.planning.limit_report import Verdict
from firmware_host.planning.limits import check_limits
from firmware_host.planning.load import load_case
from firmware_host.planning.safe_motion import safe_motion
from firmware_host.planning.velocity import plan_index
from tests.planning.limits_workshop import DELETE, job, machine, roller_machine

PART = 2.2 * 0.03**2 / 2 + 2.2 * 0.0002**2
BEYOND = 3e-4 + 5e-4 + PART
STEADY = (0.1 + 2.2 * constants.g * 0.0002) / 3.6
PER_ACCELERATION = 2.2e-5 * 4 + BEYOND / 3.6


def pull_out(part_speed: np.ndarray) -> np.ndarray:
    """The test motor's torque by its points, at the part's speed."""
    return np.interp(4 * part_speed, [10, 40, 100], [0.8, 0.6, 0.12], right=0.0)


@pytest.mark.parametrize("turns", [pytest.param(t, id=f"{t:g} turns") for t in (0.01, 1 / 12, 0.5, 3.0)])
@pytest.mark.parametrize(
    ("reserve", "factor"),
    [
        pytest.param(0.0, 2.0, id="to the limit"),
        pytest.param(0.2, 2.0, id="with reserve"),
        pytest.param(0.2, 1.2, id="peak torque decides"),
    ],
)
def test_no_pair_of_a_brute_force_grid_is_quicker_and_within_every_limit(
    turns: float, reserve: float, factor: float
) -> None:
    load = load_case(machine(), job(index={"safety_factor": factor}))
    found = safe_motion(load, np.full(5, turns), reserve=reserve)
    a = np.geomspace(5, 3000, 700)[:, None]
    v = np.geomspace(0.05, 40, 700)[None, :]
    left = 1 - reserve
    peak = np.minimum(v, np.sqrt(a * 2 * math.pi * turns))
    needed = STEADY + PER_ACCELERATION * a
    allowed = (needed <= pull_out(peak) * left / factor) & (needed + PER_ACCELERATION * a <= pull_out(peak) * left)
    allowed &= peak * 4 * 3200 / (2 * math.pi) <= 80e3 * left
    duration = plan_index(2 * math.pi * turns, a, v).duration
    best = np.where(allowed, duration, np.inf).min()
    chosen = float(plan_index(2 * math.pi * turns, found.acceleration, found.speed).duration)
    assert chosen <= best * (1 + 1e-9)
    assert chosen >= best * 0.98  # the grid's own coarseness
    reached = min(found.speed, math.sqrt(found.acceleration * 2 * math.pi * turns))
    assert STEADY + PER_ACCELERATION * found.acceleration <= pull_out(np.array(reached)) * left / factor * (1 + 1e-9)


@pytest.mark.parametrize(
    ("turns", "most"), [pytest.param(1 / 12, 1.18, id="short index"), pytest.param(2.0, 1.30, id="long index")]
)
def test_one_acceleration_is_not_far_from_the_best_that_changes_with_speed(turns: float, most: float) -> None:
    # Phase-plane bound: at each speed the largest acceleration there, mirrored for braking (SciPy).
    # A torque that falls to 15 % costs one acceleration 17.6 % on the short index and 29.4 % on the long one.
    distance = 2 * math.pi * turns

    def acceleration(v: float) -> float:
        return (float(pull_out(np.array(v))) / 2 - STEADY) / PER_ACCELERATION

    def ramps(peak: float) -> float:
        return 2 * integrate.quad(lambda v: v / acceleration(v), 0, peak, limit=200)[0]

    highest = 25.0 * (1 - 1e-9)  # past its last point the motor has no torque

    def duration(peak: float) -> float:
        ramp_time = 2 * integrate.quad(lambda v: 1 / acceleration(v), 0, peak, limit=200)[0]
        return ramp_time + (distance - ramps(peak)) / peak

    if ramps(highest) > distance:
        highest = optimize.brentq(lambda peak: ramps(peak) - distance, 1e-3, highest)
    bound = min(duration(peak) for peak in np.linspace(0.05, 1, 200) * highest)
    found = safe_motion(load_case(machine(), job()), np.array([turns]), reserve=0.0)
    chosen = float(plan_index(distance, found.acceleration, found.speed).duration)
    assert bound * (1 - 1e-6) <= chosen <= bound * most


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
    moving = [check for check in found.checks if check.name not in ("inertia-ratio", "mass", "overhang")]
    assert {check.verdict for check in moving} == {Verdict.HOLDS}
    binding = [check for check in moving if check.name in found.motion.binding]
    assert binding
    assert all(check.margin == pytest.approx(0.2, abs=2e-3) for check in binding)


def test_a_dip_in_the_curve_bounds_every_speed_beyond_it() -> None:
    dip = [{"speed": f"{v} rad/s", "torque": f"{t} N*m"} for v, t in ((10, 0.8), (30, 0.3), (50, 0.7), (200, 0.6))]
    load = load_case(machine(motor__torque_curve__points=dip), job())
    found = safe_motion(load, np.array([20.0]), reserve=0.0)
    assert found.speed > 30 / 4
    assert found.acceleration == pytest.approx((0.3 / 2 - STEADY) / PER_ACCELERATION, rel=1e-3)
    # A short index is quicker on this side of the dip, with the acceleration that the torque there allows.
    v = np.linspace(0.5, 20, 4000)
    least = np.minimum.accumulate(np.interp(4 * v, [10, 30, 50, 200], [0.8, 0.3, 0.7, 0.6]))
    length = 2 * math.pi * 0.05
    best = plan_index(length, (least / 2 - STEADY) / PER_ACCELERATION, v).duration.min()
    short = safe_motion(load, np.array([0.05]), reserve=0.0)
    assert short.speed < 30 / 4
    assert float(plan_index(length, short.acceleration, short.speed).duration) <= best * (1 + 1e-6)


def test_a_slow_board_binds_the_speed_and_slippery_rollers_the_acceleration() -> None:
    slow = safe_motion(load_case(machine(link__highest_step_rate="9 kHz"), job()), np.array([2.0]))
    assert slow.speed == pytest.approx(0.8 * 9e3 / 3200 * 2 * math.pi / 4)
    assert "step-rate-controller" in slow.binding
    slippery = safe_motion(load_case(roller_machine(friction=0.15), job()), np.array([0.5]))
    assert "grip" in slippery.binding


def test_a_stated_speed_is_kept_and_gets_the_largest_acceleration_safe_at_it() -> None:
    found = safe_motion(load_case(machine(), job()), np.array([1.0]), speed=12.0, reserve=0.0)
    assert found.speed == 12.0
    expected = (float(pull_out(np.array(12.0))) / 2 - STEADY) / PER_ACCELERATION
    assert found.acceleration == pytest.approx(expected, rel=1e-9)


def test_a_stated_acceleration_is_kept_and_gets_the_highest_speed_safe_at_it() -> None:
    found = safe_motion(load_case(machine(), job()), np.array([5.0]), acceleration=100.0, reserve=0.0)
    assert found.acceleration == 100.0
    needed = 2 * (STEADY + PER_ACCELERATION * 100.0)
    highest = np.interp(needed, [0.12, 0.6, 0.8], [100, 40, 10]) / 4
    assert found.speed == pytest.approx(highest, rel=1e-4)


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
    short = safe_motion(load, np.full(200, 0.01))
    long = safe_motion(load, np.array([1.0]))
    found = safe_motion(load, mixed)

    def total(motion: Any) -> float:
        return float(plan_index(2 * math.pi * mixed[:200], motion.acceleration, motion.speed).duration.sum())

    assert short.acceleration > long.acceleration
    assert total(found) <= total(long)
    assert found.acceleration == pytest.approx(short.acceleration, rel=0.01)


def test_no_index_at_all_still_gets_a_motion_for_one_turn() -> None:
    load = load_case(machine(), job())
    assert safe_motion(load, np.zeros(0)) == safe_motion(load, np.array([1.0]))


def test_a_motor_of_unknown_torque_gets_no_motion() -> None:
    load = load_case(machine(motor__torque_curve=DELETE, motor__inductance=DELETE), job())
    with pytest.raises(InputError, match=r"torque at speed is not known.*Give motor\.torque_curve"):
        safe_motion(load, np.array([0.1]))


def test_a_load_that_the_motor_cannot_even_turn_has_no_safe_motion() -> None:
    load = load_case(machine(drive__friction_torque="2 N*m"), job())
    with pytest.raises(LimitExceededError, match=r"torque-accelerating: wanted more than 0 rad/s\^2"):
        safe_motion(load, np.array([0.1]))


def test_an_acceleration_no_speed_allows_is_named_with_what_is_safe() -> None:
    load = load_case(machine(), job())
    highest = ((0.8 * 0.8) / 2 - STEADY) / PER_ACCELERATION
    with pytest.raises(LimitExceededError, match=rf"wanted more than 5000 rad/s\^2 .* at most {highest:.4g} rad/s"):
        safe_motion(load, np.array([0.1]), acceleration=5000.0)


def test_what_was_counted_as_nothing_is_told() -> None:
    load = load_case(machine(), job(part__mass_offset=DELETE))
    assert safe_motion(load, np.array([0.1])).assumed == ("part.mass_offset",)
