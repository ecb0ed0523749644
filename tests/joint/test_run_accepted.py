"""Limits that are accepted when a run begins or is resumed: its journal remembers them, its record shows them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from firmware_host.errors import LimitExceededError, RunStoppedError
from firmware_host.model import Job, Setup
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.passes.control import RunControl
from firmware_host.station.resume import resume_run
from firmware_host.station.run import run_job
from tests.support.station_bench import StationBench, quick_disk, small_setup

REASON = "a lead core, weighed twice"


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def contradicting_setup() -> Setup:
    """A part whose weight contradicts its density and size by more than a tenth: the limit "mass" stops it."""
    setup = small_setup()
    document = setup.job.model_dump(mode="json", exclude_none=True)
    document["part"] |= {"density": "7000 kg/m^3"}
    document["part"].pop("material", None)
    return replace(setup, job=Job.model_validate(document))


def run(bench: StationBench, *accepted: str) -> RunRecord:
    with bench.open() as controller:
        return run_job(bench.setup, bench.plan, bench.station(controller), accept_limits=accepted)


def resume(bench: StationBench, *accepted: str) -> RunRecord:
    bench.control = RunControl()
    with bench.open(drop_held_motion=True) as controller:
        return resume_run(bench.station(controller), ask=lambda entry: False, accept_limits=accepted)


def stop_at(bench: StationBench, rests: int) -> None:
    bench.at("gate-open", lambda: bench.stop.ask("Ctrl-C"), rests=rests)


def test_what_a_run_was_begun_with_needs_no_second_word_when_it_is_resumed(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, contradicting_setup())
    stop_at(bench, 2)
    with pytest.raises(RunStoppedError, match="Ctrl-C"):
        run(bench, f"mass={REASON}")
    record = resume(bench)
    assert (record.outcome, record.accepted) == ("done", {"mass": REASON})


def test_what_is_accepted_when_a_run_is_resumed_holds_from_then_on(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, contradicting_setup())
    with pytest.raises(LimitExceededError, match="mass"):
        run(bench)
    with pytest.raises(LimitExceededError, match="mass"):
        resume(bench)
    stop_at(bench, 2)
    with pytest.raises(RunStoppedError, match="Ctrl-C"):
        resume(bench, f"mass={REASON}")
    record = resume(bench)
    assert (record.outcome, record.accepted) == ("done", {"mass": REASON})
