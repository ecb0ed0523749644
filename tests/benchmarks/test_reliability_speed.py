"""How long 100,000 draws of a job take. Figures: python -m pytest tests/benchmarks --benchmark-enable.

The figures are for the reader; what is asserted is processor time of this process with a wide reserve.
"""

from __future__ import annotations

import time

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from firmware_host.model import load_job
from firmware_host.planning.plan import plan_job
from firmware_host.planning.reliability.estimate import reliability


@pytest.mark.parametrize("job", ["tumbler-wrap", "heavy-shaft"])
def test_a_hundred_thousand_draws(benchmark: BenchmarkFixture, job: str) -> None:
    setup = load_job(job)
    plan = plan_job(setup)
    found = benchmark(reliability, setup, plan, draws=100_000)
    assert found.draws == 100_000


@pytest.mark.parametrize("job", ["tumbler-wrap", "heavy-shaft"])
def test_a_hundred_thousand_draws_take_less_than_two_seconds_of_processor_time(job: str) -> None:
    setup = load_job(job)
    plan = plan_job(setup)
    start = time.process_time()
    reliability(setup, plan, draws=100_000)
    assert time.process_time() - start < 2.0
