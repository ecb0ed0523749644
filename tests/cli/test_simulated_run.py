"""What `demo` shows, asked for from Python: the motor's own step counter, and a stop."""

from __future__ import annotations

from pathlib import Path

import pytest

import firmware_host as fh
from firmware_host.cli.turn.simulated_run import run_simulated
from firmware_host.clock import ScaledClock
from firmware_host.station.passes.control import RunControl
from firmware_host.station.stop_request import StopRequest
from tests.support.station_bench import quick_disk, small_setup


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.mark.parametrize("job", ["bottle-band", "heavy-shaft", "sleeve-label"])
def test_the_motors_own_step_counter_is_the_plan_s_at_every_pass_of_a_shipped_job(job: str, tmp_path: Path) -> None:
    setup = fh.load_job(job)
    plan = fh.plan_job(setup)
    done = run_simulated(setup, plan, tmp_path, ScaledClock(10.0), pass_s=0.5)
    assert dict(done.counters) == dict(enumerate(plan.route.segment_targets().tolist(), 1))
    assert done.record.outcome == "done"
    assert done.record.done == len(done.record.passes) == plan.segments.count * setup.job.mark.passes
    assert (done.off_plan, set(done.record.step_errors)) == (0, {0})


def test_a_simulated_run_counts_the_motors_own_steps_and_can_be_stopped(tmp_path: Path) -> None:
    setup = small_setup(passes=1)
    plan = fh.plan_job(setup)
    told: list[str] = []
    done = run_simulated(
        setup,
        plan,
        tmp_path / "home",
        ScaledClock(10.0),
        pass_s=0.5,
        announce=lambda url, before: told.extend([url, *(difference.name for difference in before)]),
    )
    assert "steps per unit" in told
    assert dict(done.counters) == dict(enumerate(plan.route.segment_targets().tolist(), 1))
    assert (done.record.outcome, done.off_plan) == ("done", 0)
    stop = StopRequest()
    with pytest.raises(fh.RunStoppedError, match=r"stopped \(by a test\); the run in \S+ can be resumed"):
        run_simulated(
            setup,
            plan,
            tmp_path / "other",
            ScaledClock(10.0),
            control=RunControl(stop),
            announce=lambda url, before: stop.ask("by a test"),
        )
