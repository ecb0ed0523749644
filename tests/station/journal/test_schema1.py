"""Journals as version 0.1 wrote them: the same run in both schemas tells the same, and each kind of line is read."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from firmware_host.errors import ControllerError, JournalError, RunStoppedError
from firmware_host.planning.plan import plan_job
from firmware_host.station.journal.events import Begin, Event, Move, Standstill, ZeroSet
from firmware_host.station.journal.journal import read_journal
from firmware_host.station.journal.replay import left_by, replay
from firmware_host.station.journal.schema1 import converted
from firmware_host.station.runs.status import Place, run_status
from firmware_host.station.runs.verify import verify_run
from tests.support.crashes import stopped
from tests.support.journal_lines import as_schema1, journal_lines, sealed
from tests.support.station_bench import StationBench, quick_disk, small_setup

STAMP: dict[str, Any] = {"n": 7, "t": "2026-01-01T00:10:00.616+00:00", "s": 600.616}
BEGIN: dict[str, Any] = {
    "event": "begin", "schema": 1, "setup": "ce0e", "job": "job", "machine": "machine", "port": "port",
    "targets": [0, 611], "passes": 2,
}  # fmt: skip


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def read(**entry: Any) -> Event:
    return converted(STAMP | entry)


def test_what_schema_1_does_not_hold_is_left_open() -> None:
    begin = read(**BEGIN)
    assert isinstance(begin, Begin)
    assert (begin.targets, begin.overrun, begin.marking, begin.line) == ((0, 611), None, True, 7)
    assert read(event="move", segment=2, target=611) == Move(
        line=7, time=STAMP["t"], clock_s=600.616, segment=2, target=611, position=None
    )


def test_a_line_at_rest_is_a_standstill_and_a_zero_without_turns_has_none_taken_back() -> None:
    stood = read(event="at-rest", segment=2, target=611, reported=611.2)
    assert isinstance(stood, Standstill)
    assert (stood.segment, stood.target, stood.reported, stood.position) == (2, 611, 611.2, None)
    zero = read(event="zero", origin_steps=1234, at=-3, scale_known=False)
    assert isinstance(zero, ZeroSet)
    assert (zero.origin_steps, zero.at, zero.turns, zero.scale_known) == (1234, -3, 0, False)
    turned = read(event="zero", origin_steps=1234, at=-3, turns=2)
    assert isinstance(turned, ZeroSet)
    assert (turned.turns, turned.scale_known) == (2, None)


def moving_to_third(bench: StationBench) -> None:
    bench.at("moving", lambda: bench.stop.ask("a test"), rests=2)


def ending(bench: StationBench) -> None:
    bench.at("finishing", lambda: bench.stop.ask("a test"))


def marking(bench: StationBench) -> None:
    bench.at("gate-open", lambda: bench.stop.ask("a test"), rests=2)


@pytest.mark.some(3)
@pytest.mark.parametrize("end", [moving_to_third, marking, ending])
@pytest.mark.parametrize("job", ["shaft-scale", "bottle-band"])
def test_the_same_run_tells_the_same_in_either_schema(
    job: str, end: Callable[[StationBench], None], tmp_path: Path
) -> None:
    """Also where lost motion is taken up (the bottle): schema 1 has the job planned again for it."""
    bench = StationBench(tmp_path, small_setup(job))
    end(bench)
    with pytest.raises(RunStoppedError, match="a test"):
        bench.run()
    status, state = run_status(bench.folder), replay(read_journal(bench.folder.journal))
    assert state.left is not None
    as_schema1(bench.folder.journal)
    bench.folder.record.write_text(bench.folder.record.read_text("utf-8").replace('"standstill"', '"at_rest"'), "utf-8")
    events = read_journal(bench.folder.journal)
    old = replay(events)
    assert old.left is None
    assert left_by(events, plan_job(bench.setup).route) == state.left
    assert (old.record, old.closed, old.openings, old.lines) == (state.record, True, state.openings, state.lines)
    assert run_status(bench.folder) == status
    assert [finding.detail for finding in verify_run(bench.folder) if not finding.holds] == []
    assert bench.resume().outcome == "done"
    assert [line["schema"] for line in journal_lines(bench.folder.journal) if "schema" in line] == [1, 3]
    assert bench.steps == bench.progress.origin
    bench.never_open_while_moving()


def test_a_run_resumed_from_schema_1_and_stopped_again_is_read_on(tmp_path: Path) -> None:
    bench = stopped(tmp_path)
    as_schema1(bench.folder.journal)
    bench.at("gate-open", lambda: bench.stop.ask("a test"), rests=3)
    with pytest.raises(RunStoppedError, match="a test"):
        bench.resume()
    kinds = [line["event"] for line in journal_lines(bench.folder.journal)]
    assert kinds.index("at-rest") < kinds.index("resume") < kinds.index("standstill")
    found = run_status(bench.folder)
    assert (found.state, found.record.done, len(found.unknown)) == ("stopped", 2, 1)
    assert all(finding.holds for finding in verify_run(bench.folder))
    assert bench.resume(done=True).outcome == "done"
    assert all(finding.holds for finding in verify_run(bench.folder))


def test_a_reset_that_is_found_on_resuming_from_schema_1_counts_the_next_time(tmp_path: Path) -> None:
    """The note of it comes before any line that is of schema 3."""
    bench = stopped(tmp_path)
    as_schema1(bench.folder.journal)
    bench.device.settings.write("$1", 25.0)
    with pytest.raises(ControllerError, match="the motor is released 25 ms after a move"):
        bench.resume()
    assert journal_lines(bench.folder.journal)[-1]["event"] == "position-lost"
    bench.device.settings.write("$1", 255.0)
    found = run_status(bench.folder)
    assert (found.place, found.why) == (
        Place.BY_HAND,
        "the controller was found reset, locked, or with its motor released",
    )
    with pytest.raises(ControllerError, match="the controller was found reset, locked, or with its motor released"):
        bench.resume()
    assert bench.resume(zero="here").outcome == "done"


@pytest.mark.parametrize(
    ("lines", "complaint"),
    [
        (
            [BEGIN | {"schema": 1}, {"event": "standstill", "segment": 1, "target": 0}],
            r"line 2 .*schema 1 \(standstill",
        ),
        ([BEGIN, {"event": "resume", "schema": 4, "zero": "as-left"}], "has schema 4; this version reads 1, 2 and 3"),
        ([BEGIN, {"event": "resume", "schema": 2, "zero": "as-left"}, {"event": "at-rest"}], "line 3 .*schema 2"),
    ],
    ids=["incomplete", "resumed-later", "at-rest-in-2"],
)
def test_what_is_of_neither_schema_is_refused(lines: list[dict[str, Any]], complaint: str, tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    path.write_bytes(b"".join(sealed({**STAMP, **line, "n": number}) for number, line in enumerate(lines, 1)))
    with pytest.raises(JournalError, match=complaint):
        read_journal(path)
