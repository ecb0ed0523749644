"""Run folders that version 0.1 wrote (journal of schema 1): shown, verified and resumed by this version."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from firmware_host.errors import InputError
from firmware_host.station.journal.journal import read_journal
from firmware_host.station.journal.record import PassStatus
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.listing import list_runs
from firmware_host.station.runs.status import Place, run_status
from firmware_host.station.runs.verify import verify_run
from tests.support.crashes import ALL
from tests.support.station_bench import StationBench

KEPT = Path(__file__).parent / "kept"
LEFT_AT = 1234 + 611
"""Where the interrupted runs left the axis: machine step of the job's zero, and the second segment's target."""


def copied(name: str, to: Path) -> RunFolder:
    return RunFolder(Path(shutil.copytree(KEPT / name, to / name)))


def bench(folder: RunFolder, home: Path) -> StationBench:
    """A board that stands where the run left it, and a station that works in the run's folder."""
    found = StationBench(home, folder.load_setup(), away=LEFT_AT)
    found.folder = folder
    found.progress.origin = 1234
    return found


def test_the_kept_runs_are_listed_with_how_each_of_them_ended(tmp_path: Path) -> None:
    shutil.copytree(KEPT, tmp_path / "runs")
    assert {run.path.name: run.state for run in list_runs(tmp_path / "runs")} == {
        "crashed": "crashed",
        "done": "done",
        "stopped": "stopped",
    }


@pytest.mark.parametrize("name", ["crashed", "done", "stopped"])
def test_a_kept_run_holds_together(name: str, tmp_path: Path) -> None:
    findings = verify_run(copied(name, tmp_path))
    assert [finding.name for finding in findings] == ["journal", "setup", "targets", "order", "record"]
    assert [finding.detail for finding in findings if not finding.holds] == []


@pytest.mark.parametrize("name", ["crashed", "stopped"])
def test_a_kept_run_that_did_not_end_tells_where_it_stands(name: str, tmp_path: Path) -> None:
    found = run_status(copied(name, tmp_path))
    assert found.place is Place.AS_LEFT
    assert found.microsteps == (611, 611)
    assert [(entry.segment, entry.number) for entry in found.unknown] == [(2, 1)]
    assert found.record.done == 2


@pytest.mark.parametrize("done", [True, False], ids=["marked", "not-marked"])
@pytest.mark.parametrize("name", ["crashed", "stopped"])
def test_a_kept_run_is_resumed_and_marks_what_was_left(name: str, done: bool, tmp_path: Path) -> None:
    station = bench(copied(name, tmp_path), tmp_path)
    before = len(read_journal(station.folder.journal))
    record = station.resume(done=done)
    assert record.outcome == "done"
    assert station.asked == [(2, 1)]
    assert station.passes_marked() == [key for key in ALL if key > (2, 1) or (key == (2, 1) and not done)]
    assert {entry.status for entry in record.passes} == {PassStatus.DONE.value}
    assert record.step_errors == (0,) * len(ALL)
    assert station.steps == 1234
    station.never_open_while_moving()
    assert len(read_journal(station.folder.journal)) > before
    assert all(finding.holds for finding in verify_run(station.folder))


def test_a_kept_run_that_is_done_is_not_begun_again(tmp_path: Path) -> None:
    station = bench(copied("done", tmp_path), tmp_path)
    with pytest.raises(InputError, match="the run is done"):
        station.resume()
    assert station.passes_marked() == []
