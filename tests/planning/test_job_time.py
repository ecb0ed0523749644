"""The time of a job: every move summed here again by the closed form of a ramp, and every wait."""

from __future__ import annotations

import math

import pytest

from firmware_host.planning.index.unwinding_settle import unwind_settle
from firmware_host.planning.job_time import job_time
from firmware_host.planning.plan import plan_job
from firmware_host.planning.route.moves import Purpose
from tests.reporting.shown import JOBS, shipped
from tests.support.station_bench import changed_setup, small_setup


def ramp_s(turns: float, speed: float, acceleration: float) -> float:
    """From rest to rest: with a cruise d/v + v/a, without one 2 sqrt(d/a)."""
    distance = 2 * math.pi * abs(turns)
    if distance > speed**2 / acceleration:
        return distance / speed + speed / acceleration
    return 2 * math.sqrt(distance / acceleration)


@pytest.mark.parametrize("job", JOBS)
def test_turning_is_the_sum_of_the_ramps_of_all_targets_in_turn(job: str) -> None:
    setup, plan = shipped(job)
    time, stands_at, sums, moves = job_time(setup, plan), 0, 0.0, 0
    per_turn, motion = float(plan.route.per_part_turn), plan.limits.motion
    for target in plan.route.targets.tolist():
        sums += ramp_s((target - stands_at) / per_turn, motion.speed, motion.acceleration)
        moves += target != stands_at
        stands_at = target
    assert time.turning_s == pytest.approx(sums)
    assert time.moves == moves
    assert time.settling_s == pytest.approx(plan.segments.count * plan.settle_s)
    assert time.passes == plan.segments.count * setup.job.mark.passes
    assert time.whole_s(7.0) == pytest.approx(sums + plan.segments.count * plan.settle_s + 7.0 * time.passes)


def test_a_stated_settle_time_is_waited_after_each_index_and_not_after_the_way_back() -> None:
    setup = small_setup(passes=4)
    time = job_time(setup, plan_job(setup))
    assert time.settling_s == pytest.approx(3 * 0.25)
    assert time.settles == 3
    assert time.passes == 12


def test_whole_turns_taken_back_ring_longer_and_are_waited_for() -> None:
    """A travel of 380 deg for a mark that runs from 300 to 392 deg: the axis has to take a turn back once."""
    setup = small_setup(finish="stay")
    document = setup.machine.model_dump(mode="json", exclude_none=True)
    document["axis"] |= {"travel": {"lowest": "-20 deg", "highest": "360 deg"}}
    wound = changed_setup("shaft-scale", mark={"arc": "50 mm", "start_angle": "300 deg"}, segments={"count": 5})
    machine = type(setup.machine).model_validate(document)
    wound = type(wound)(wound.job, machine, wound.job_source, wound.machine_source)
    plan = plan_job(wound)
    time = job_time(wound, plan)
    targets, purposes = plan.route.targets.tolist(), plan.route.purpose.tolist()
    (unwound,) = [at - before for before, at, purpose in zip([0, *targets], targets, purposes, strict=False)
                  if purpose == Purpose.UNWIND]  # fmt: skip
    turns = abs(unwound) / float(plan.route.per_part_turn)
    assert 0.5 < turns < 1.5
    rings_s = unwind_settle(machine, wound.job, plan.program, turns)
    assert rings_s > 0
    assert time.settles == plan.segments.count + 1
    assert time.settling_s == pytest.approx(plan.segments.count * plan.settle_s + rings_s)
