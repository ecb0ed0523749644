"""The time left is right to a fifth after the third pass, whatever the board, the gate and the disk take."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_host.model import Setup
from firmware_host.simulator.numbered_line.recorded import RECORDED
from firmware_host.system.files import RecordFile
from tests.support.numbered_bench import NumberedBench
from tests.support.station_bench import StationBench, changed_setup

DISK_S = 0.02
"""A slow disk; each line of the journal waits for it."""


def setup(settle: str, passes: int) -> Setup:
    return changed_setup(
        "shaft-scale",
        mark={"arc": "60 mm", "width": "60 mm", "passes": passes},
        segments={"count": 12},
        index={"finish": "unwind", "settle": settle},
    )


def status_query(folder: Path, settle: str, passes: int) -> StationBench:
    return StationBench(folder, setup(settle, passes), ok_delay_s=0.03, status_delay_s=0.03)


def numbered(folder: Path, settle: str, passes: int) -> StationBench:
    return NumberedBench(folder, setup(settle, passes), RECORDED["numbered-line-a"])


@pytest.mark.parametrize("make", [status_query, numbered], ids=["status-query", "numbered-line-a"])
@pytest.mark.parametrize(("settle", "passes"), [("0 s", 1), ("0.5 s", 3)], ids=["no settling", "three passes"])
def test_the_time_left_is_right_to_a_fifth_after_the_third_pass(
    make: Callable[[Path, str, int], StationBench],
    settle: str,
    passes: int,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    bench = make(tmp_path, settle, passes)
    monkeypatch.setattr(RecordFile, "sync", lambda file: bench.clock.advance_to(bench.clock.monotonic() + DISK_S))
    told: list[tuple[float, float]] = []
    done = bench.progress.done

    def note(count: int, of: int, left_s: float | None) -> None:
        done(count, of, left_s)
        assert left_s is not None
        told.append((bench.clock.monotonic(), left_s))

    monkeypatch.setattr(bench.progress, "done", note)
    assert bench.run().outcome == "done"
    end_s = bench.clock.monotonic()
    assert len(told) == 12 * passes
    for at_s, left_s in told[2:-1]:
        assert left_s == pytest.approx(end_s - at_s, rel=0.2, abs=0.3)
