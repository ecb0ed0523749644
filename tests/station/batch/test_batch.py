"""A batch in virtual time on a simulated board: every part's passes, the zero of the next part, what is counted."""

from pathlib import Path

import pytest

from firmware_host.station.batch.side import Again, Scrap
from firmware_host.station.journal.events import ZeroSet
from firmware_host.station.journal.journal import read_journal
from tests.support.batch_bench import BatchBench, ScriptedSide
from tests.support.crashes import Crash, dies_in, revive
from tests.support.station_bench import AWAY_STEPS, quick_disk


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def test_every_pass_of_every_part_is_marked_once_and_the_zero_is_kept(tmp_path: Path) -> None:
    bench = BatchBench(tmp_path)
    record = bench.run_batch()
    assert record.outcome == "done"
    assert [part.result for part in record.parts] == ["good"] * 3
    assert bench.marked() == bench.every_pass((1, 2, 3))
    bench.never_open_while_moving()
    assert {true - planned for _, planned, _, true in bench.progress.rests} == {0}
    assert bench.side.told == [(what, part) for part in (1, 2, 3) for what in ("change", "judge")]


def test_redone_and_scrapped_parts_are_counted(tmp_path: Path) -> None:
    side = ScriptedSide(judged={1: [Again((2,), 1)], 2: [Scrap()]})
    bench = BatchBench(tmp_path, side=side)
    record = bench.run_batch()
    assert [part.result for part in record.parts] == ["redone", "scrapped", "good"]
    assert (record.good, record.count("redone"), record.count("scrapped")) == (2, 1, 1)
    expected = bench.every_pass((1, 2, 3))
    expected[1, 2, 1] += 1
    assert bench.marked() == expected
    bench.never_open_while_moving()
    assert {true - planned for _, planned, _, true in bench.progress.rests} == {0}


def test_a_hold_where_a_resumed_part_has_no_pass_left_does_not_keep_it_for_ever(tmp_path: Path) -> None:
    bench = BatchBench(tmp_path, rows=1)
    dies_in(bench, "finishing")
    with pytest.raises(Crash):
        bench.run_batch()
    revive(bench)
    bench.side.on_ask = lambda: bench.control.hold() if bench.side.told[-1][0] == "interrupted" else None
    assert bench.resume_batch().outcome == "done"
    assert bench.marked() == bench.every_pass((1,))


def test_a_zero_that_was_set_anew_in_a_part_is_the_one_that_the_next_part_keeps(tmp_path: Path) -> None:
    bench = BatchBench(tmp_path, rows=4)
    dies_in(bench, "settling", rests=8)  # in the third part
    with pytest.raises(Crash):
        bench.run_batch()
    revive(bench)
    bench.raw(f"$J=G91 {bench.axis}20 F2000")
    bench.raw("$X")
    anew = bench.steps
    bench.resume_batch(zero="here")
    parts = [bench.batch.run(name) for part in bench.state().parts for name in part.runs]
    zeros = [event.origin_steps for run in parts for event in read_journal(run.journal) if isinstance(event, ZeroSet)]
    assert zeros == [AWAY_STEPS, AWAY_STEPS, AWAY_STEPS, anew, anew]
    assert anew != AWAY_STEPS
    bench.never_open_while_moving()
