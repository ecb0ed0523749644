"""A controller that begins its moves at a speed at once: the limit, the plan, and what is told of it."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest

from firmware_host.errors import LimitExceededError
from firmware_host.model import Job, Machine, Setup, load_job
from firmware_host.planning.limits.check import LimitCheck, Verdict
from firmware_host.planning.load.start import NO_JUMP, start_jump
from firmware_host.planning.plan import JobPlan, plan_job


def stating(setup: Setup, jump: float, *, late: str = "", rate: str = "", stays: JobPlan | None = None) -> Setup:
    """The setup with a jump (deg/s of the drive's shaft, 0: unstated), and with the motion of the plan that `stays`."""
    machine = setup.machine.model_dump(mode="json", exclude_none=True)
    stated = {"start_jump": f"{jump} deg/s" if jump else "", "second_step_after": late}
    machine["link"]["stated"] = {key: text for key, text in stated.items() if text}
    if rate:
        machine["motor"]["start_stop_rate"] = rate
    job = setup.job.model_dump(mode="json", exclude_none=True)
    if stays is not None:
        job["index"]["speed"] = f"{stays.program.speed!r} rad/s"
        job["index"]["acceleration"] = f"{stays.program.acceleration!r} rad/s^2"
    return replace(
        setup, machine=Machine.model_validate_json(json.dumps(machine)), job=Job.model_validate_json(json.dumps(job))
    )


def the_check(plan: JobPlan, name: str = "start-jump") -> LimitCheck | None:
    return next((check for check in plan.limits.checks if check.name == name), None)


def margin(plan: JobPlan, name: str) -> float:
    found = the_check(plan, name)
    assert found is not None
    assert found.margin is not None
    return found.margin


def test_without_a_jump_there_is_no_such_limit() -> None:
    setup = load_job("heavy-shaft")
    assert start_jump(setup.machine, setup.job) == NO_JUMP
    assert the_check(plan_job(setup)) is None


def test_a_jump_is_checked_in_full_steps_of_the_motor() -> None:
    """By hand: 1 deg/s of the part is 1/360 turns/s, times the motor's turns per part turn, times 200 full steps."""
    setup = load_job("heavy-shaft")
    found = the_check(plan_job(stating(setup, 1)))
    assert found is not None
    assert found.value == pytest.approx(1 / 360 * 30 * 200)
    assert found.verdict is Verdict.HOLDS


def test_a_larger_jump_is_never_quicker_and_never_settles_sooner() -> None:
    times = [plan_job(stating(load_job("sleeve-label"), each)).index_s for each in (0, 40, 80, 120)]
    assert times == sorted(times)
    assert times[-1] > times[0]


def test_a_jump_counts_in_settling_and_peak_torque_of_a_motion_that_stays() -> None:
    setup = load_job("heavy-shaft")
    plain = plan_job(setup)
    plans = [plan_job(stating(setup, each, stays=plain)) for each in (0, 8, 10)]
    assert plans[0].settle_s < plans[1].settle_s < plans[2].settle_s
    left = [margin(each, "torque-peak") for each in plans]
    assert left[0] > left[1] > left[2]


def test_a_jump_counts_in_the_grip_of_rollers() -> None:
    setup = load_job("bottle-band")
    plain = plan_job(setup)
    assert margin(plan_job(stating(setup, 20, stays=plain)), "grip-peak") < margin(plain, "grip-peak")


def test_a_jump_that_nothing_is_safe_with_is_refused_by_name() -> None:
    with pytest.raises(LimitExceededError, match="start-jump: the controller begins and ends each move with 200 deg/s"):
        plan_job(stating(load_job("heavy-shaft"), 200))


def test_a_jump_above_the_start_stop_rate_of_the_data_sheet_fails() -> None:
    """By hand: 10 Hz of the bare motor are less with a load, and 1 deg/s are 16.67 Hz."""
    found = the_check(plan_job(stating(load_job("heavy-shaft"), 1, rate="10 Hz")))
    assert found is not None
    assert found.limit is not None
    assert found.limit < 10
    assert found.verdict is Verdict.FAILS


def test_a_late_second_step_jumps_by_what_the_ramp_has_gained_meanwhile() -> None:
    """By hand: v_0 is one microstep in 8.33 ms, and the ramp gains alpha * 8.33 ms."""
    setup = stating(load_job("heavy-shaft"), 0, late="8.33 ms")
    jump = start_jump(setup.machine, setup.job)
    step = 2 * math.pi / float(setup.machine.microsteps_per_part_turn(setup.job.part.contact))
    assert jump.of(0.0) == pytest.approx(step / 8.33e-3)
    assert jump.of(10.0) == pytest.approx(step / 8.33e-3 + 0.0833)
    assert plan_job(setup).program.acceleration < plan_job(load_job("heavy-shaft")).program.acceleration
