"""What would make a job surer is what a job that has it is found to be."""

import dataclasses
from functools import cache

import numpy as np
import pytest

from firmware_host.mechanics.uncertainty import FactorRange
from firmware_host.model import Job, load_job
from firmware_host.model.files.loading import Setup
from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.plan import plan_job
from firmware_host.planning.reliability.estimate import Reliability, reliability
from firmware_host.planning.reliability.improvement import MEASURED, better_measured, gentler_acceleration
from firmware_host.planning.reliability.inputs import UncertainInput
from firmware_host.units import parse_quantity

ROLLER_JOBS = ("bottle-band", pytest.param("tumbler-wrap", marks=pytest.mark.slow))


@cache
def as_it_is(name: str) -> tuple[Setup, Reliability]:
    setup = load_job(name)
    return setup, sure(setup)


def sure(setup: Setup) -> Reliability:
    return reliability(setup, plan_job(setup), draws=100_000, seed=5)


def with_job(setup: Setup, job: Job) -> Setup:
    return dataclasses.replace(setup, job=job)


@pytest.mark.slow
@pytest.mark.parametrize("name", ROLLER_JOBS)
def test_a_job_that_states_what_was_measured_is_as_sure_as_told(name: str) -> None:
    setup, found = as_it_is(name)
    assert found.verdict is Verdict.FAILS
    assert found.better is not None
    assert found.better.measured[0].names == (found.influences[0].input.name,)
    assert found.better.measured[-1].chance.verdict is Verdict.HOLDS
    for step in found.better.measured:
        stated = setup.job.tolerances.model_copy(update=dict.fromkeys(step.names, MEASURED))
        again = sure(with_job(setup, setup.job.model_copy(update={"tolerances": stated})))
        assert again.chance is not None
        assert again.verdict is step.chance.verdict
        assert again.chance.probability == pytest.approx(step.chance.probability, abs=0.006)


@pytest.mark.parametrize("name", ROLLER_JOBS)
def test_a_job_that_states_the_gentler_acceleration_holds_and_one_a_little_quicker_does_not(name: str) -> None:
    setup, found = as_it_is(name)
    better = found.better
    assert better is not None
    assert better.acceleration is not None
    verdicts = []
    for times in (0.99, 1.1):
        stated = parse_quantity(f"{times * better.acceleration:.9f} rad/s^2", "angular acceleration", "positive")
        index = setup.job.index.model_copy(update={"acceleration": stated})
        verdicts.append(sure(with_job(setup, setup.job.model_copy(update={"index": index}))).verdict)
    assert verdicts[0] is Verdict.HOLDS
    assert verdicts[1] is not Verdict.HOLDS


def test_nothing_is_offered_where_it_holds_or_where_so_few_draws_could_never_tell() -> None:
    heavy, cup = load_job("heavy-shaft"), load_job("tumbler-wrap")
    assert sure(heavy).better is None
    assert reliability(cup, plan_job(cup), draws=3000).better is None
    assert reliability(cup, plan_job(cup), draws=5000).better is not None


def test_what_is_known_well_already_is_passed_over_and_the_rest_is_narrowed_about_the_value_used() -> None:
    ranges = (FactorRange(1.0, 1.8), FactorRange.around(0.03), FactorRange.around(0.5))
    inputs = [UncertainInput(f"datum {n}", factors, "invented") for n, factors in enumerate(ranges)]
    factors = np.array([np.linspace(r.lowest, r.highest, 1001) for r in ranges])
    seen: list[np.ndarray] = []

    def margins(drawn: np.ndarray) -> np.ndarray:
        seen.append(drawn.copy())
        return np.full(drawn.shape[1], -1.0)

    found = better_measured(inputs, factors, margins)
    assert [step.names for step in found] == [("datum 0",), ("datum 0", "datum 2")]
    assert (seen[0][0].min(), seen[0][0].max()) == pytest.approx((0.95, 1.05))
    assert (seen[0][1:] == factors[1:]).all()
    assert (seen[1][2].min(), seen[1][2].max()) == pytest.approx((0.95, 1.05))
    assert factors[0].max() == 1.8


def test_the_gentler_acceleration_is_the_edge_of_what_holds() -> None:
    def margins(acceleration: float) -> np.ndarray:
        return np.full(20_000, 3.0 - acceleration)

    found = gentler_acceleration(10.0, margins)
    assert found is not None
    assert 3.0 / 1.02 < found <= 3.0
    assert gentler_acceleration(1000.0, margins) is None
