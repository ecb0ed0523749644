"""A run that was stopped, opened again from its folder and resumed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

import firmware_host as fh
from firmware_host.acts import Resume
from firmware_host.clock import ScaledClock
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.serving.serve import serve
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.journal.record import PassRecord
from firmware_host.station.redo import open_redo
from firmware_host.station.runs.folder import BATCH_JOURNAL
from tests.support.station_bench import quick_disk, small_setup
from tests.support.three_segments import own_folders

PATIENCE_S = 60.0


@pytest.fixture(autouse=True)
def own_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)
    own_folders(tmp_path, monkeypatch)


@pytest.fixture
def clock() -> ScaledClock:
    return ScaledClock(10.0)


@pytest.fixture
def port(clock: ScaledClock) -> Iterator[str]:
    device = simulated_device(small_setup().machine, delivered=False, start_s=clock.monotonic())
    with serve(device, clock, kind="socket") as server:
        yield server.url


def stopped_run(port: str, clock: ScaledClock) -> Path:
    """The folder of a run that was stopped while the second pass of segment 2 was marked."""
    run = fh.start_run(small_setup(), port, clock=clock)
    for event in run.events():
        if event.text.startswith("STANDSTILL: mark segment 2 of 3, pass 2"):
            run.stop()
        elif event.text.startswith("STANDSTILL: mark"):
            run.answer()
    with pytest.raises(fh.RunStoppedError, match="by the program"):
        run.join(PATIENCE_S)
    assert run.folder is not None
    return run.folder


@pytest.mark.parametrize("finished", [True, False], ids=["taken for done", "marked again"])
def test_a_run_is_resumed_where_it_was_begun_and_only_the_half_marked_pass_is_asked_about(
    port: str, clock: ScaledClock, finished: bool
) -> None:
    folder = stopped_run(port, clock)
    asked: list[PassRecord] = []

    def ask(entry: PassRecord) -> bool:
        asked.append(entry)
        return finished

    with fh.reopen_station(folder, clock=clock, gate=lambda context: TimedGate(context, 0.2)) as opened:
        assert opened.station.controller.url == port  # nobody named it: the run began there
        record = opened.resume(finished=ask)
    assert [(entry.segment, entry.number) for entry in asked] == [(2, 2)]
    assert (record.outcome, record.done, record.step_errors) == ("done", 6, (0,) * 6)
    assert all(finding.holds for finding in fh.verify_run(fh.RunFolder(folder)))
    with pytest.raises(fh.InputError, match="the run is done: nothing is left"), fh.reopen_station(folder, clock=clock):
        pytest.fail("it was opened")


def test_segments_of_a_run_are_marked_again_at_its_own_port_with_what_was_kept_of_it(
    port: str, clock: ScaledClock
) -> None:
    folder = stopped_run(port, clock)
    with open_redo(folder, "1", passes=1, clock=clock, gate=lambda context: TimedGate(context, 0.2)) as opened:
        assert opened.station.controller.url == port
        record = opened.run()
    assert (record.outcome, record.done, record.redo_of) == ("done", 1, folder.name)
    with pytest.raises(fh.InputError, match="no segment 4"), open_redo(folder, [4], clock=clock):
        pytest.fail("it was opened")
    assert len(list(folder.parent.iterdir())) == 2


def test_a_folder_without_a_run_is_refused_before_anything_is_opened(tmp_path: Path) -> None:
    with pytest.raises(fh.InputError, match="nowhere"), fh.reopen_station(tmp_path / "nowhere"):
        pytest.fail("it was opened")


def test_the_run_of_a_part_is_not_reopened_apart_from_its_batch(tmp_path: Path) -> None:
    batch = tmp_path / "batch"
    (batch / "part-1").mkdir(parents=True)
    (batch / BATCH_JOURNAL).touch()
    with pytest.raises(fh.InputError, match="is a part of a batch") as refused, fh.reopen_station(batch / "part-1"):
        pass
    assert refused.value.acts == (Resume(str(batch)),)
