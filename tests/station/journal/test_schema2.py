"""Journals of before there was a choice of segments: read as they are, and continued in the present schema."""

import json
from pathlib import Path
from typing import Any

import pytest

from firmware_host.errors import RunStoppedError
from firmware_host.station.journal.journal import read_journal
from firmware_host.station.journal.replay import replay
from firmware_host.station.runs.listing import read_record
from firmware_host.station.runs.verify import verify_run
from tests.support.journal_lines import journal_lines, sealed
from tests.support.station_bench import StationBench, quick_disk, small_setup

LATER = ("only", "redo_of")


def as_schema2(path: Path) -> None:
    """Rewrite a journal as it was before."""
    lines = [{key: value for key, value in line.items() if key not in LATER} for line in journal_lines(path)]
    path.write_bytes(b"".join(sealed(line | ({"schema": 2} if "schema" in line else {})) for line in lines))


def test_a_run_of_schema_2_tells_the_same_and_is_resumed_in_the_present_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick_disk(monkeypatch)
    bench = StationBench(tmp_path, small_setup())
    bench.at("gate-open", lambda: bench.stop.ask("a test"), rests=2)
    with pytest.raises(RunStoppedError, match="a test"):
        bench.run()
    journal = bench.folder.journal
    before = replay(read_journal(journal))
    as_schema2(journal)
    after = replay(read_journal(journal))
    assert (after.record, after.left, after.disorder) == (before.record, before.left, "")
    assert read_record(bench.folder).not_asked_for == ()
    assert bench.resume(done=True).outcome == "done"
    assert [line["schema"] for line in journal_lines(journal) if "schema" in line] == [2, 3]
    assert [finding.detail for finding in verify_run(bench.folder) if not finding.holds] == []


def test_a_record_of_before_agrees_with_its_journal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It has no segments that were not asked for, no run that it is a redo of, and no pass that was repeated."""
    quick_disk(monkeypatch)
    bench = StationBench(tmp_path, small_setup())
    bench.run()
    as_schema2(bench.folder.journal)
    saved: dict[str, Any] = json.loads(bench.folder.record.read_text("utf-8"))
    for key in ("not_asked_for", "redo_of"):
        del saved[key]
    for entry in saved["passes"]:
        del entry["repeats"]
    bench.folder.record.write_text(json.dumps(saved), encoding="utf-8")
    assert [finding.detail for finding in verify_run(bench.folder) if not finding.holds] == []
