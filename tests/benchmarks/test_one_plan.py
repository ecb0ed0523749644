"""How long one plan takes. Figures: python -m pytest tests/benchmarks --benchmark-enable.

What is asserted is a ratio within one run: processor time of a plan over that of a fixed load of Python and NumPy.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from firmware_host.model.files.loading import load_job
from firmware_host.planning.plan import plan_job

JOBS = ("shaft-scale", "bottle-band", "heavy-shaft", "sleeve-label", "tumbler-wrap")
REPEATS = 7

MOST = 9.0
"""Times the fixed load that a plan may take: 4 to 5 when this was written, 40 and more before."""


def fixed_load() -> float:
    """Half of it calls of NumPy on small arrays, half a loop of Python, as in a plan."""
    small, total = np.linspace(0.0, 1.0, 200), 0.0
    for _ in range(1500):
        total += float(np.exp(-small).max())
    return total + sum(math.sqrt(k) for k in range(60_000))


def least_time(task: Callable[[], object]) -> float:
    """Least processor time of some repeats, s."""
    times = []
    for _ in range(REPEATS):
        start = time.process_time()
        task()
        times.append(time.process_time() - start)
    return min(times)


@pytest.mark.parametrize("job", JOBS)
def test_one_plan(benchmark: BenchmarkFixture, job: str) -> None:
    setup = load_job(job)
    plan = benchmark(plan_job, setup)
    assert plan.index_s > 0


@pytest.mark.parametrize("job", JOBS)
def test_a_plan_takes_a_few_times_a_fixed_load(job: str) -> None:
    setup = load_job(job)
    plan_job(setup)
    assert least_time(lambda: plan_job(setup)) < MOST * least_time(fixed_load)


def test_two_hundred_parts_take_two_hundred_plans_and_little_more(benchmark: BenchmarkFixture) -> None:
    setup = load_job("shaft-scale")

    def all_of_them() -> int:
        parts = [{"part.diameter": f"{50 + k / 100} mm", "part.mass": f"{1 + k / 1000} kg"} for k in range(200)]
        return len([plan_job(setup.with_values(part)) for part in parts])

    assert benchmark.pedantic(all_of_them, rounds=1) == 200
