"""When a run may not be resumed: nothing moves, nothing is asked, and nothing is written but that a reset was found."""

import json
from pathlib import Path

import pytest

from firmware_host.errors import (
    ControllerError,
    InputError,
    JournalError,
)
from firmware_host.station.journal.journal import Journal
from tests.support.board_faults import trip_limit_switch
from tests.support.crashes import SEEKS_BACKWARD, stopped
from tests.support.station_bench import StationBench, quick_disk, small_setup


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def refused(bench: StationBench, kind: type[Exception], complaint: str, *, noted: bool = False) -> None:
    moves, before = bench.sent_moves(), bench.folder.journal.read_bytes()
    with pytest.raises(kind, match=complaint):
        bench.resume()
    assert bench.sent_moves() == moves
    assert bench.asked == []
    written = bench.folder.journal.read_bytes()
    assert written.startswith(before)
    assert [json.loads(line)["event"] for line in written[len(before) :].splitlines()] == ["position-lost"] * noted


@pytest.mark.parametrize(
    ("greets", "complaint"),
    [(True, "the controller was reset since"), (False, "it stands at machine zero")],
    ids=["greeting", "silent"],
)
def test_behind_a_controller_that_was_reset_a_run_is_resumed_only_from_a_zero_set_anew(
    greets: bool, complaint: str, tmp_path: Path
) -> None:
    """Silent: the greeting went unheard, as of a board that was switched off and on while no port was open."""
    bench = stopped(tmp_path)
    bench.device.hardware_reset(bench.clock.monotonic())
    if not greets:
        bench.clock.sleep(1.0)
        bench.device.transmit(bench.clock.monotonic())
    refused(bench, ControllerError, rf"{complaint}.*say so when you resume", noted=True)
    bench.progress.origin = bench.steps  # somebody turns the part to the job's zero by hand: wherever the motor is
    record = bench.resume(zero="here")
    assert record.outcome == "done"
    assert bench.asked == [(2, 1)]
    assert {true - planned for _, planned, _, true in bench.progress.rests[2:]} == {0}


@pytest.mark.parametrize("steps", [1, -1, 300, 100_000])
def test_a_run_whose_axis_was_moved_since_is_not_resumed(steps: int, tmp_path: Path) -> None:
    bench = stopped(tmp_path)
    scale = bench.device.settings[f"${100 + bench.index}"]
    bench.raw(f"G21 G90 G53 G1 {bench.axis}{(bench.steps + steps) / scale:.5f} F2000", wait_s=5000.0)
    refused(bench, ControllerError, "where the run did not leave it")


def test_behind_a_locked_controller_a_run_is_resumed_only_from_a_zero_set_anew(tmp_path: Path) -> None:
    bench = stopped(tmp_path, stored={"$21": 1})
    trip_limit_switch(bench.device, bench.clock.monotonic())
    bench.clock.sleep(1.0)
    bench.device.transmit(bench.clock.monotonic())
    refused(bench, ControllerError, "is locked", noted=True)
    bench.progress.origin = bench.steps
    assert bench.resume(zero="here").outcome == "done"


def test_a_machine_with_a_home_switch_homes_again_whatever_happened_to_the_board(tmp_path: Path) -> None:
    bench = stopped(tmp_path, small_setup("heavy-shaft"), **SEEKS_BACKWARD)
    bench.device.hardware_reset(bench.clock.monotonic())
    bench.clock.sleep(1.0)
    bench.device.transmit(bench.clock.monotonic())
    assert bench.resume().outcome == "done"
    assert bench.sent_lines().count("$H") == 2
    assert {true - planned for _, planned, _, true in bench.progress.rests} == {0}
    assert bench.asked == [(2, 1)]


def test_a_job_changed_since_is_refused(tmp_path: Path) -> None:
    bench = stopped(tmp_path)
    document = json.loads(bench.folder.setup.read_text("utf-8"))
    document["job"]["mark"]["passes"] = 3
    bench.folder.setup.write_text(json.dumps(document), encoding="utf-8")
    refused(bench, JournalError, "was changed since the run began")


def test_targets_that_another_version_would_plan_otherwise_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = stopped(tmp_path)
    other = StationBench(tmp_path / "other", small_setup("bottle-band"))
    monkeypatch.setattr("firmware_host.station.runs.resumable.plan_job", lambda setup: other.plan)
    refused(bench, JournalError, "gives other targets than the journal holds")


def test_a_finished_run_is_refused(tmp_path: Path) -> None:
    bench = StationBench(tmp_path, small_setup())
    bench.run()
    refused(bench, InputError, "the run is done: nothing is left")


def test_a_damaged_journal_is_refused(tmp_path: Path) -> None:
    bench = stopped(tmp_path)
    data = bench.folder.journal.read_bytes()
    bench.folder.journal.write_bytes(data.replace(b'"target":611', b'"target":612', 1))
    refused(bench, JournalError, "is damaged")


def test_a_run_that_somebody_else_is_writing_is_refused(tmp_path: Path) -> None:
    bench = stopped(tmp_path)
    with Journal(bench.folder.journal, bench.clock):
        refused(bench, JournalError, "another process is writing this run")
