"""How a hand may turn a part: every move within the limits, with a job's part and with one that nobody describes."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firmware_host.errors import InputError, LimitExceededError
from firmware_host.model import load_job, load_machine
from firmware_host.planning.by_hand import CALM, HandPlan, hand_on_job, hand_on_machine
from firmware_host.planning.limit_report import check_limits
from firmware_host.planning.limits.accept import stopping
from firmware_host.planning.plan import plan_job
from firmware_host.units import parse_quantity
from tests.reporting.shown import JOBS

LENGTHS_DEG = (0.0, 0.1, 1, 5, 37.5, 90, 360, 2000)
SIXTY = parse_quantity("60 mm", "length", "positive")


def microsteps(plan: HandPlan, angle_deg: float) -> int:
    return max(round(angle_deg / 360 * float(plan.per_turn)), 1)


@pytest.mark.some(2)
@pytest.mark.parametrize("job", JOBS)
def test_a_job_is_turned_with_its_own_acceleration_and_every_move_keeps_the_limits(job: str) -> None:
    setup = load_job(job)
    own, plan = plan_job(setup).program, hand_on_job(setup)
    assert (plan.acceleration, plan.most_speed) == (own.acceleration, own.speed)
    for angle_deg in LENGTHS_DEG:
        steps = microsteps(plan, angle_deg)
        speed = plan.speed(steps)
        assert 0 < speed <= min(own.speed, CALM)
        report = check_limits(
            setup.machine,
            setup.job,
            index_turns=np.array([steps / float(plan.per_turn)]),
            speed=speed,
            acceleration=plan.acceleration,
        )
        assert stopping(report.checks) == ()


def test_a_single_microstep_on_rollers_is_slower_than_a_long_move() -> None:
    """Its ramps are short beside the swing of the part, so the grip's peak limits it."""
    plan = hand_on_job(load_job("bottle-band"))
    assert plan.speed(1) < math.radians(3)
    assert plan.speed(-2520) == plan.speed(2520) > math.radians(80)


@pytest.mark.some(1)
@pytest.mark.parametrize("machine", ["belt-chuck", "direct-chuck", "worm-chuck"])
def test_without_a_job_the_part_is_the_heaviest_that_the_motor_turns(machine: str) -> None:
    plan = hand_on_machine(load_machine(machine))
    assert not plan.of_job
    assert plan.diameter is None
    for job in (name for name in JOBS if load_job(name).machine.name == plan.machine.name):
        assert plan.acceleration < plan_job(load_job(job)).program.acceleration
    assert 0 < plan.speed(microsteps(plan, 90)) <= min(plan.most_speed, CALM)


def test_on_rollers_the_diameter_is_needed_and_then_lengths_are_known() -> None:
    rollers = load_machine("two-rollers")
    with pytest.raises(InputError, match=r"depends on its diameter.*--diameter"):
        hand_on_machine(rollers)
    plan = hand_on_machine(rollers, SIXTY)
    assert plan.diameter == pytest.approx(0.06)
    assert plan.per_turn == rollers.microsteps_per_part_turn(SIXTY)


def test_a_part_that_the_machine_cannot_hold_is_not_turned() -> None:
    with pytest.raises(LimitExceededError, match="grip-range"):
        hand_on_machine(load_machine("direct-chuck"), SIXTY)


def test_a_job_that_a_limit_stops_is_not_turned() -> None:
    setup = load_job("shaft-scale").with_values({"index.acceleration": "90000 deg/s^2"})
    with pytest.raises(LimitExceededError, match="exceeds its limits"):
        hand_on_job(setup)
