"""How planning grows with the number of segments. Run: python -m pytest tests/benchmarks --benchmark-enable.

The figures are for the reader; what is asserted is a ratio within one run, and the memory of a process of its own.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from firmware_host.model import Job, Setup, load_machine
from firmware_host.planning.load.case import load_case
from firmware_host.planning.plan import plan_job
from tests.benchmarks.million import FINE, JOB
from tests.planning.index.workshop import safe_motion


def setup_with(count: int) -> Setup:
    setup = Setup(Job.model_validate({**JOB, "segments": {"count": count}}), load_machine("worm-chuck"))
    return setup.with_values(FINE)


@pytest.mark.parametrize("count", [1_000, 1_000_000])
def test_planning_many_segments(benchmark: BenchmarkFixture, count: int) -> None:
    setup = setup_with(count)
    plan = benchmark(plan_job, setup)
    assert plan.route.segment_targets().size == count
    assert plan.program.durations.size >= count


@pytest.mark.parametrize("kind", ["three lengths", "all different"])
def test_choosing_the_motion_of_a_million_indexes(benchmark: BenchmarkFixture, kind: str) -> None:
    rng = np.random.default_rng(1)
    turns = (
        0.05 + 1e-4 * rng.integers(0, 3, 1_000_000) if kind == "three lengths" else rng.uniform(0.01, 0.5, 1_000_000)
    )
    setup = setup_with(1_000)
    load = load_case(setup.machine, setup.job)
    found = benchmark(safe_motion, load, turns)
    few = safe_motion(load, turns[:20_000])
    assert found.timing.index_s == pytest.approx(few.timing.index_s, rel=0.05)


def test_a_thousand_times_the_segments_take_far_less_than_a_thousand_times_as_long() -> None:
    few, many = setup_with(10_000), setup_with(1_000_000)
    plan_job(few)
    durations = []
    for setup in (few, many):
        start = time.perf_counter()
        plan_job(setup)
        durations.append(time.perf_counter() - start)
    assert durations[1] / durations[0] < 100


def test_a_million_segments_take_less_than_300_megabytes() -> None:
    """The script's own process: imports, loading, planning. Linux counts ru_maxrss in KiB."""
    script = Path(__file__).with_name("million.py")
    subprocess.run([sys.executable, str(script)], check=True, capture_output=True)
    peak_bytes = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024
    assert peak_bytes < 300e6
