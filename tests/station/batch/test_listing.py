"""Batches in lists, and whether their files agree; damage is told, and hides no other."""

from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_host.errors import DamagedRunError, InputError, RunNotBegunError
from firmware_host.reporting.render.json import json_document
from firmware_host.reporting.runs.batch import batch_document
from firmware_host.reporting.runs.runs import runs_document
from firmware_host.station.batch.batch import ResumableBatch
from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.batch.listing import list_batches, listed_batch, verify_batch
from firmware_host.station.runs.folder import batch_of
from firmware_host.station.runs.listing import list_runs
from tests.support.batch_bench import BatchBench
from tests.support.station_bench import quick_disk


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


@pytest.fixture
def done(tmp_path: Path) -> BatchBench:
    bench = BatchBench(tmp_path, rows=2)
    bench.run_batch()
    return bench


def test_a_batch_and_the_runs_of_its_parts_are_listed(done: BatchBench) -> None:
    runs = done.batch.path.parent
    (batch,) = list_batches(runs)
    assert (batch.state, batch.acts, list_runs(runs)) == ("done", (), ())
    inside = list_runs(batch.path)
    assert [run.path.name for run in inside] == ["part-00001", "part-00002"]
    rows = json_document(runs_document((), {batch: inside}))
    assert [Path(row["run"]).name for row in rows] == [batch.path.name, "part-00001", "part-00002"]
    assert (rows[0]["parts"], "parts" in rows[1]) == (2, False)
    shown = json_document(batch_document(batch))
    assert (shown["outcome"], shown["good"], [part["result"] for part in shown["parts"]]) == ("done", 2, ["good"] * 2)
    assert all(finding.holds for finding in verify_batch(done.batch))
    assert batch_of(inside[0].path) == batch.path.absolute()


def cut(path: Path) -> None:
    path.write_bytes(b"\n".join(path.read_bytes().split(b"\n")[:-3]) + b"\n")


def change(path: Path) -> None:
    path.write_bytes(path.read_bytes().replace(b"good", b"done", 1))


def spoil(path: Path) -> None:
    path.write_bytes(path.read_bytes().replace(b"e", b"3", 1))


@pytest.mark.some(4)
@pytest.mark.parametrize(
    ("name", "harm", "found"),
    [
        ("batch.jsonl", spoil, "batch journal"),
        ("batch.jsonl", cut, "batch journal"),
        ("setup.json", spoil, "setup"),
        ("parts.json", spoil, "table of parts"),
        ("batch.json", change, "record"),
        ("part-00002/journal.jsonl", cut, "part-00002: journal"),
        ("part-00001/setup.json", spoil, "part-00001: setup"),
    ],
    ids=["journal", "lost-lines", "setup", "table", "record", "run-journal", "run-setup"],
)
def test_damage_is_found_where_it_is(name: str, harm: Callable[[Path], None], found: str, done: BatchBench) -> None:
    harm(done.batch.path / name)
    wrong = [finding.name for finding in verify_batch(done.batch) if not finding.holds]
    assert found in wrong


def test_a_damaged_batch_hides_no_other(done: BatchBench, tmp_path: Path) -> None:
    other = BatchBench(tmp_path / "other", rows=1)
    other.run_batch()
    runs = done.batch.path.parent
    other.batch.path.rename(runs / "later")
    spoil(done.batch.journal)
    assert [batch.state for batch in list_batches(runs)] == ["unreadable", "done"]
    assert "unreadable: " in str(batch_document(listed_batch(done.batch.path)))
    with pytest.raises(DamagedRunError, match="line 1 is damaged"):
        ResumableBatch.read(done.batch)


def test_what_cannot_be_resumed_is_refused(done: BatchBench, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="the batch is done"):
        ResumableBatch.read(done.batch)
    with pytest.raises(InputError, match="is no batch"):
        BatchFolder.existing(tmp_path)
    empty = tmp_path / "empty"
    empty.mkdir()
    (empty / "batch.jsonl").touch()
    with pytest.raises(RunNotBegunError, match="nothing was moved"):
        ResumableBatch.read(BatchFolder(empty))
    assert listed_batch(empty).state == "unreadable"
