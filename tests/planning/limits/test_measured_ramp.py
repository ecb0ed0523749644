"""A ramp that was tried on the machine: no plan is quicker, and another load gets what the same torque makes of it."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from firmware_host.errors import InputError
from firmware_host.mechanics.train.transmission import inertia_at_motor
from firmware_host.model import Job, Machine, Setup, load_job
from firmware_host.model.files.files import validate
from firmware_host.planning.limits.check import LimitCheck, Verdict
from firmware_host.planning.load.case import LoadCase, load_variants
from firmware_host.planning.plan import JobPlan, plan_job

SHAFT = load_job("shaft-scale")


def tried(setup: Setup = SHAFT, *, of_job: dict[str, Any] | None = None, **ramp: str) -> Setup:
    machine = setup.machine.model_dump(mode="json", exclude_none=True) | {"ramp": ramp}
    job = setup.job.model_dump(mode="json", exclude_none=True) | (of_job or {})
    return replace(
        setup, machine=Machine.model_validate_json(json.dumps(machine)), job=Job.model_validate_json(json.dumps(job))
    )


def of(setup: Setup) -> LoadCase:
    return load_variants(setup.machine, setup.job).unkind.load


def the_check(plan: JobPlan) -> LimitCheck | None:
    return next((check for check in plan.limits.checks if check.name == "measured-ramp"), None)


AS_CLAMPED = {"load_inertia": "1 kg*m^2"}
"""More than any part here has: tried with that, each may do what is stored."""


def test_without_a_trial_there_is_no_such_limit() -> None:
    assert the_check(plan_job(SHAFT)) is None


@pytest.mark.parametrize(
    ("acceleration", "speed"), [("20 rad/s^2", "50 rad/s"), ("500 rad/s^2", "2 rad/s"), ("20 rad/s^2", "1 rad/s")]
)
def test_a_plan_uses_what_is_stored_and_no_more_and_holds(acceleration: str, speed: str) -> None:
    plan = plan_job(tried(acceleration=acceleration, speed=speed, **AS_CLAMPED))
    most_a, most_v = float(acceleration.split()[0]), float(speed.split()[0])
    assert plan.program.acceleration <= most_a * (1 + 1e-6)
    assert plan.program.speed <= most_v * (1 + 1e-6)
    assert plan.program.acceleration > 0.5 * most_a or plan.program.speed > 0.5 * most_v
    found = the_check(plan)
    assert found is not None
    assert found.verdict is Verdict.HOLDS
    assert plan_job(SHAFT).program.speed > 2.0


@pytest.mark.parametrize(
    ("times", "verdict"), [(0.9, Verdict.HOLDS), (1.1, Verdict.NARROW), (1.24, Verdict.NARROW), (1.26, Verdict.FAILS)]
)
def test_a_stated_motion_fails_beyond_what_lost_no_step(times: float, verdict: Verdict) -> None:
    index = {"acceleration": f"{20 * times} rad/s^2", "speed": "1 rad/s", "settle": "0.2 s"}
    plan = plan_job(tried(of_job={"index": index}, acceleration="20 rad/s^2", speed="50 rad/s", **AS_CLAMPED))
    found = the_check(plan)
    assert found is not None
    assert found.verdict is verdict


def test_more_inertia_than_was_tried_gets_as_much_less_and_less_no_more() -> None:
    bare = of(tried(acceleration="20 rad/s^2", speed="50 rad/s"))
    loaded = of(tried(acceleration="20 rad/s^2", speed="50 rad/s", **AS_CLAMPED))
    assert loaded.measured_ramp is not None
    assert bare.measured_ramp is not None
    assert loaded.measured_ramp.acceleration == pytest.approx(20.0)
    turning = bare.rotor_inertia + bare.reflected_inertia
    chuck_alone = bare.rotor_inertia + inertia_at_motor(bare.stages, SHAFT.machine.drive.shaft_body.inertia)
    assert bare.measured_ramp.acceleration == pytest.approx(20.0 * chuck_alone / turning)
    assert bare.measured_ramp.speed == loaded.measured_ramp.speed == pytest.approx(50.0)


def test_on_rollers_it_is_the_rollers_that_were_tried() -> None:
    load = of(tried(load_job("tumbler-wrap"), acceleration="20 rad/s^2", speed="10 rad/s", **AS_CLAMPED))
    assert load.measured_ramp is not None
    onwards = load.stages[-1].ratio
    assert load.measured_ramp.acceleration == pytest.approx(20.0 / onwards)
    assert load.measured_ramp.speed == pytest.approx(10.0 / onwards)


@pytest.mark.parametrize(
    ("ramp", "problem"),
    [
        pytest.param({"acceleration": "20 rad/s^2"}, "speed", id="no speed"),
        pytest.param({"speed": "20 rad/s"}, "acceleration", id="no acceleration"),
        pytest.param({"load_inertia": "1 kg*m^2"}, "load_inertia", id="only what was clamped"),
    ],
)
def test_half_a_trial_is_refused(ramp: dict[str, str], problem: str) -> None:
    machine = SHAFT.machine.model_dump(mode="json", exclude_none=True) | {"ramp": ramp}
    with pytest.raises(InputError, match=problem):
        validate(Machine, machine, source="m.toml")
