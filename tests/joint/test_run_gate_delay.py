"""How soon the gate opens behind the last step, on boards as late as measured; virtual time, a disk that takes some."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from firmware_host.errors import LinkError
from firmware_host.model import Setup
from firmware_host.simulator.numbered_line.variant import NumberedLineVariant
from firmware_host.system.files import RecordFile
from tests.support.numbered_bench import NumberedBench
from tests.support.real_boards import REAL_BOARDS
from tests.support.station_bench import StationBench, changed_setup, small_setup

DISK_S = 0.003
"""How long this disk takes to keep a line; a line of the journal and its tally take it twice."""


def bench_of(board: str, tmp_path: Path, settle: str, segments: int = 3) -> StationBench:
    setup = with_settle(settle, segments)
    variant = REAL_BOARDS[board].variant
    if isinstance(variant, NumberedLineVariant):
        return NumberedBench(tmp_path, setup, variant)
    late = {name: getattr(variant, name) for name in ("status_delay_s", "ok_delay_s", "idle_delay_s", "idle_spread_s")}
    return StationBench(tmp_path, setup, **late)


def with_settle(settle: str, segments: int = 3) -> Setup:
    setup = small_setup(passes=1, finish="stay")
    mark = {"arc": f"{10 * segments} mm", "width": "10 mm", "passes": 1}
    return replace(setup, job=changed_setup("shaft-scale", mark=mark, segments={"count": segments},
                   index={"finish": "stay", "settle": settle}).job)  # fmt: skip


@pytest.fixture
def slow_disk(monkeypatch: pytest.MonkeyPatch) -> Callable[[StationBench], list[float]]:
    """Lets a bench's time pass while the disk keeps something; returns when it did."""

    def slow(bench: StationBench) -> list[float]:
        synced: list[float] = []

        def sync(file: RecordFile) -> None:
            bench.clock.advance_to(bench.clock.monotonic() + DISK_S)
            synced.append(bench.clock.monotonic())

        monkeypatch.setattr(RecordFile, "sync", sync)
        return synced

    return slow


@pytest.mark.parametrize(("board", "most_s"), [("status-query", 0.012), ("numbered-line", 0.016)])
def test_once_the_first_moves_were_timed_the_gate_opens_as_promptly_as_ever(
    board: str, most_s: float, tmp_path: Path, slow_disk: Callable[[StationBench], list[float]]
) -> None:
    bench = bench_of(board, tmp_path, "0.03 s", segments=7)
    slow_disk(bench)
    assert bench.run().outcome == "done"
    assert len(delays(bench)) == 6
    assert max(delays(bench)[3:]) <= most_s


def delays(bench: StationBench) -> list[float]:
    """From the last step to the open gate, beyond the settle time, of every segment but the first (s)."""
    ends_s = [travel.end_s for travel in bench.device.motion_log[bench.motion_before :]]
    opened_s = [opened for opened, _, _ in bench.gate.opened[1:]]
    return [at_s - max(end for end in ends_s if end <= at_s) - bench.plan.settle_s for at_s in opened_s]


@pytest.mark.parametrize(
    ("board", "settle", "most_s"),
    [
        ("status-query", "0.1 s", 0.012),
        ("status-query", "0.03 s", 0.012),
        ("status-query", "0 s", 0.041),
        ("numbered-line", "0.1 s", 0.022),  # the first moves are asked beforehand when they have ended: the answer
        ("numbered-line", "0.03 s", 0.022),  # comes with the board's own delay; later ones open as below
        ("numbered-line", "0 s", 0.038),
        ("numbered-line, second sync", "0.03 s", 0.022),
    ],
)
def test_the_gate_opens_when_it_has_settled_and_hardly_later(
    board: str, settle: str, most_s: float, tmp_path: Path, slow_disk: Callable[[StationBench], list[float]]
) -> None:
    bench = bench_of(board, tmp_path, settle)
    slow_disk(bench)
    assert bench.run().outcome == "done"
    bench.never_open_while_moving()
    assert len(delays(bench)) == 2
    assert 0 <= min(delays(bench))
    assert max(delays(bench)) <= most_s


def journalled(bench: StationBench) -> list[dict[str, Any]]:
    return [json.loads(line) for line in bench.folder.journal.read_text("utf-8").splitlines()]


@pytest.mark.parametrize("settle", ["0 s", "0.03 s", "0.5 s"])
@pytest.mark.parametrize("board", ["status-query", "numbered-line"])
def test_the_journal_has_move_standstill_and_gate_open_in_this_order_before_the_gate_opens(
    board: str, settle: str, tmp_path: Path, slow_disk: Callable[[StationBench], list[float]]
) -> None:
    bench = bench_of(board, tmp_path, settle)
    synced = slow_disk(bench)
    bench.run()
    events = [line["event"] for line in journalled(bench)]
    acts = [event for event in events if event in {"move", "standstill", "gate-open", "gate-closed"}]
    assert acts == ["move", "standstill", "gate-open", "gate-closed"] * 3
    told = {"gate-open": [line["s"] for line in journalled(bench) if line["event"] == "gate-open"]}
    for written_s, (opened_s, _, _) in zip(told["gate-open"], bench.gate.opened, strict=True):
        assert any(written_s < on_disk_s <= opened_s for on_disk_s in synced), "opened before it was on the disk"


def test_a_standstill_is_on_the_disk_at_once_where_it_settles_long_and_with_the_gate_where_not(
    tmp_path: Path, slow_disk: Callable[[StationBench], list[float]]
) -> None:
    for number, (settle, at_once) in enumerate((("0.5 s", True), ("0 s", False))):
        bench = bench_of("status-query", tmp_path / str(number), settle)
        synced = slow_disk(bench)
        bench.run()
        lines = [line for line in journalled(bench) if line["event"] in {"standstill", "gate-open"}]
        for stood, opened in zip(lines[2::2], lines[3::2], strict=True):
            assert any(stood["s"] < at_s <= opened["s"] for at_s in synced) is at_once


def test_what_is_said_unasked_at_the_open_gate_closes_it_when_it_is_heard(tmp_path: Path) -> None:
    """A stranger's line is answered 13 ms later (10 ms of dwell, 3 ms of answer), between two looks."""
    bench = StationBench(tmp_path, small_setup())
    sent_s: list[float] = []

    def stranger() -> None:
        sent_s.append(bench.clock.monotonic())
        bench.device.receive(b"G4 P0.01\n", sent_s[0])

    bench.at("gate-open", stranger)
    with pytest.raises(LinkError, match="an answer came that no line waits for"):
        bench.run()
    (_, closed_s, _) = bench.gate.opened[-1]
    assert closed_s == pytest.approx(sent_s[0] + 0.013, abs=1e-6)
