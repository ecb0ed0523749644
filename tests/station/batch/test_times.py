"""How long parts took, and when a batch will be finished: against a plain sum, and as pandas reads the CSV."""

from datetime import timedelta
from pathlib import Path

import pytest

from firmware_host.station.batch.side import Again
from tests.support.batch_bench import BatchBench, ScriptedSide
from tests.support.station_bench import quick_disk


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def test_times_are_a_plain_sum_of_turning_settling_marking_and_waiting(tmp_path: Path) -> None:
    side = ScriptedSide(takes_s=40.0)
    bench = BatchBench(tmp_path, rows=4, side=side)
    record = bench.run_batch()
    log = bench.device.motion_log[bench.motion_before :]
    turning_s = sum(travel.end_s - travel.start_s for travel in log)
    passes = bench.setup.job.mark.passes * bench.plan.segments.count * 4
    plain_s = turning_s + passes * 0.5 + 4 * bench.plan.segments.count * bench.plan.settle_s + 4 * 40.0
    assert sum(part.used_s or 0.0 for part in record.parts) == pytest.approx(plain_s, rel=0.05)
    for part in record.parts:
        assert part.changing_s == pytest.approx(40.0, abs=0.2)
        assert part.planned_turning_s == pytest.approx(turning_s / 4 + 3 * bench.plan.settle_s, rel=0.05)


def test_it_says_when_it_will_be_finished_from_what_the_parts_before_took(tmp_path: Path) -> None:
    bench = BatchBench(tmp_path, rows=4, side=ScriptedSide(takes_s=40.0))
    record = bench.run_batch()
    assert bench.side.parts[0].done_at is None
    whole_s = (record.parts[0].used_s or 0.0) + (record.parts[0].changing_s or 0.0)
    end = bench.clock.now()
    for number, part in enumerate(bench.side.parts[1:], 1):
        assert part.done_at is not None
        off = abs((end - part.done_at) - timedelta())
        assert off.total_seconds() < 0.05 * whole_s * (4 - number)


def test_the_times_are_read_by_pandas(tmp_path: Path) -> None:
    pandas = pytest.importorskip("pandas")
    bench = BatchBench(tmp_path, side=ScriptedSide(judged={2: [Again((1, 3), 1)]}))
    record = bench.run_batch()
    frame = pandas.read_csv(bench.batch.times, parse_dates=["began", "ended"])
    assert list(frame["result"]) == ["good", "redone", "good"]
    assert list(frame["used_s"]) == [part.used_s for part in record.parts]
    took = (frame["ended"] - frame["began"]).dt.total_seconds()
    assert list(took.round(3)) == list(frame["used_s"])
    assert frame["redone_segments"].fillna("").tolist() == ["", "1 3", ""]
