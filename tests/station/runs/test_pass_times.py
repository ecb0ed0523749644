"""What a pass takes, learned from earlier runs of the same job: the medians are worked out here again."""

from __future__ import annotations

import statistics
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from firmware_host.model import Setup
from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.gates.dry import DryGate
from firmware_host.station.gates.gate import GateContext, PassRequest
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.runs.folder import BATCH_JOURNAL
from firmware_host.station.runs.pass_times import PassTime, PassTimeFrom, pass_time
from tests.support.station_bench import StationBench, changed_setup, quick_disk, small_setup

TOOK = (2.0, 3.0, 2.5, 9.0, 2.2, 2.4)
"""Seconds of the six passes of a run; one waited for somebody."""


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


class Taking(TimedGate):
    """Each pass takes the next of these times (s)."""

    def __init__(self, context: GateContext, times: tuple[float, ...]) -> None:
        super().__init__(context, times[0])
        self._times = list(times)

    def open(self, request: PassRequest) -> None:
        self._duration_s = self._times.pop(0)
        super().open(request)


def marked(tmp_path: Path, setup: Setup, times: tuple[float, ...] = TOOK) -> StationBench:
    """A run of the job, below `runs`, whose passes took these times."""
    bench = StationBench(tmp_path, setup, gate=lambda context: Taking(context, times))
    assert bench.run().outcome == "done"
    return bench


def test_without_any_earlier_run_the_time_of_a_pass_is_not_known(tmp_path: Path) -> None:
    assert pass_time(small_setup(), tmp_path / "runs") == PassTime(PassTimeFrom.UNKNOWN)
    assert not (tmp_path / "runs").exists()


def test_it_is_the_median_of_all_passes_with_the_middle_half_as_its_spread(tmp_path: Path) -> None:
    setup = small_setup()
    marked(tmp_path, setup)
    marked(tmp_path, setup, tuple(each + 0.1 for each in TOOK))
    found = pass_time(setup, tmp_path / "runs")
    every = sorted([*TOOK, *(each + 0.1 for each in TOOK)])
    assert (found.source, found.runs, found.passes) == (PassTimeFrom.RUNS, 2, 12)
    assert found.pass_s == pytest.approx(statistics.median(every), abs=0.04)  # 2.45 s: the mean is 3.6 s
    # Of twelve in order, a quarter of the way is between the 3rd and the 4th, at 11/4 places from the first.
    assert found.low_s == pytest.approx(every[2] + 0.75 * (every[3] - every[2]), abs=0.04)
    assert found.high_s == pytest.approx(every[8] + 0.25 * (every[9] - every[8]), abs=0.04)


@pytest.mark.parametrize(
    "other",
    [
        pytest.param({"mark": {"arc": "31 mm", "width": "10 mm", "passes": 2}}, id="another mark"),
        pytest.param({"segments": {"count": 6}}, id="other segments"),
        pytest.param({"name": "graduated shaft"}, id="another name"),
    ],
)
def test_runs_of_another_job_teach_nothing(tmp_path: Path, other: dict[str, object]) -> None:
    marked(tmp_path, small_setup())
    setup = small_setup()
    tables = setup.job.model_dump(mode="json", exclude_none=True) | other
    changed = replace(setup, job=type(setup.job).model_validate(tables))
    assert pass_time(changed, tmp_path / "runs").source is PassTimeFrom.UNKNOWN
    assert pass_time(setup, tmp_path / "runs").runs == 1


def test_more_passes_of_the_same_mark_and_another_gate_or_speed_are_still_the_same_marking(tmp_path: Path) -> None:
    marked(tmp_path, small_setup())
    more = small_setup(passes=5, finish="stay")
    assert pass_time(more, tmp_path / "runs").passes == 6


def test_of_parts_measured_anew_nearly_the_same_teach_and_another_thickness_does_not(tmp_path: Path) -> None:
    setup = small_setup()
    for size, learned in (("50.9 mm", 6), ("52 mm", 6), ("50.5 mm", 12)):
        marked(tmp_path, setup.with_values({"part.diameter": size}))
        assert pass_time(setup, tmp_path / "runs").passes == learned


def test_the_parts_of_a_batch_teach_as_runs_do(tmp_path: Path) -> None:
    setup = small_setup()
    run = marked(tmp_path, setup).folder.path
    batch = tmp_path / "runs" / BatchFolder.create(tmp_path / "other", setup.job.name, 2, datetime.now(UTC)).path.name
    batch.mkdir()
    run.rename(batch / "part-00001")
    assert pass_time(setup, tmp_path / "runs").source is PassTimeFrom.UNKNOWN  # a folder that is no batch's
    (batch / BATCH_JOURNAL).touch()
    assert pass_time(setup, tmp_path / "runs").passes == 6


def test_a_run_without_marking_and_passes_cut_short_teach_nothing(tmp_path: Path) -> None:
    setup = small_setup()
    dry = StationBench(tmp_path, setup, gate=lambda context: DryGate(context, 0.5))
    dry.gate.marks = False
    dry.run()
    assert pass_time(setup, tmp_path / "runs").source is PassTimeFrom.UNKNOWN
    stopped = StationBench(tmp_path, setup, gate=lambda context: Taking(context, TOOK))
    stopped.at("gate-open", lambda: stopped.stop.ask("by the test"), rests=2)
    with pytest.raises(Exception, match="by the test"):
        stopped.run()
    found = pass_time(setup, tmp_path / "runs")
    assert (found.runs, found.passes) == (1, 2)
    assert found.pass_s == pytest.approx(2.5, abs=0.04)  # of 2.0 s and 3.0 s; the third was not marked to its end


def test_a_single_pass_is_its_own_median_and_has_no_spread(tmp_path: Path) -> None:
    setup = changed_setup("shaft-scale", mark={"arc": "10 mm", "width": "10 mm"}, segments={"count": 1})
    marked(tmp_path, setup, (2.5,))
    found = pass_time(setup, tmp_path / "runs")
    assert (found.runs, found.passes) == (1, 1)
    assert found.pass_s == pytest.approx(2.5, abs=0.04)
    assert found.low_s == found.pass_s == found.high_s


def test_a_damaged_run_is_passed_over(tmp_path: Path) -> None:
    setup = small_setup()
    first = marked(tmp_path, setup)
    second = marked(tmp_path, setup)
    second.folder.setup.write_text("{", "utf-8")
    (tmp_path / "runs" / f"{first.folder.path.name}-9").mkdir()
    assert pass_time(setup, tmp_path / "runs").runs == 1


def test_what_is_given_or_fixed_by_the_gate_wins_over_what_was_learned(tmp_path: Path) -> None:
    setup = small_setup()
    marked(tmp_path, setup)
    assert pass_time(setup, tmp_path / "runs", 12.0) == PassTime(PassTimeFrom.GIVEN, 12.0)
    tables = setup.job.model_dump(mode="json", exclude_none=True) | {"gate": {"kind": "timed", "duration": "4 s"}}
    timed = replace(setup, job=type(setup.job).model_validate(tables))
    assert pass_time(timed, tmp_path / "runs") == PassTime(PassTimeFrom.GATE, 4.0)


def test_what_the_job_says_a_pass_takes_at_least_is_told_and_not_taken_for_its_time(tmp_path: Path) -> None:
    setup = changed_setup("heavy-shaft")
    assert pass_time(setup, tmp_path) == PassTime(PassTimeFrom.UNKNOWN, at_least_s=20.0)
