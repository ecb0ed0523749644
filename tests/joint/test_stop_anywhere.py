"""A stop asked for in any stage of a run, by another thread or a signal: found within 0.2 s, one hold at the most."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from firmware_host.acts import RestoreSettings
from firmware_host.errors import FirmwareHostError, RunStoppedError, StoppedError
from firmware_host.model import Setup
from firmware_host.station.gates.operator import OperatorGate
from firmware_host.station.settings.write import write_for_plan
from firmware_host.station.stop_request import StopAskedError, StopRequest
from tests.support.numbered_bench import NumberedBench
from tests.support.numbered_line_boards import NUMBERED_LINE_BOARDS
from tests.support.station_bench import StationBench, quick_disk, small_setup

FOUND_S = 0.2
RUNS_OUT_S = 1.0
HOLDS = (b"!", b"M410")
READS = (b"$$", b"M503", b"M205")
READY = (b"\x18", b"G21", b"M84", b"$G", b"M17")


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    quick_disk(monkeypatch)


def status_query(folder: Path, setup: Setup, **options: Any) -> StationBench:
    return StationBench(folder, setup, **options)


def numbered_line(folder: Path, setup: Setup, **options: Any) -> StationBench:
    return NumberedBench(folder, setup, NUMBERED_LINE_BOARDS["plain"], **options)


KINDS = {"status-query": status_query, "numbered-line": numbered_line}


def by_thread(stop: StopRequest) -> None:
    thread = threading.Thread(target=stop.ask, args=("Ctrl-C",))
    thread.start()
    thread.join()


def by_signal(stop: StopRequest) -> None:
    signal.raise_signal(signal.SIGINT)


WAYS = {"another-thread": by_thread, "signal": by_signal}


@dataclass
class Watched:
    """A run on the bench in which a stop is asked for once `due` says so, and again at each write if `again`."""

    bench: StationBench
    ask: Callable[[StopRequest], None]
    due: Callable[[Watched], bool]
    again: bool = False
    pull: bool = False
    began_s: float = 0.0
    asked_s: float | None = None
    under_way: bool = False
    sent: list[tuple[float, bytes]] = field(default_factory=list)

    def __post_init__(self) -> None:
        bench = self.bench
        self.began_s = bench.clock.monotonic()
        bench.port.spoil = lambda data: (self.look(), data)[1]
        bench.clock.on_sleep = self.look
        bench.port.on_write = self.on_write

    def on_write(self, data: bytes) -> None:
        self.sent.append((self.bench.clock.monotonic(), data))
        if self.asked_s is not None and self.again:
            self.ask(self.bench.stop)

    def look(self) -> None:
        if self.asked_s is None and self.due(self):
            self.asked_s = self.bench.clock.monotonic()
            self.under_way = self.bench.moving
            if self.pull:
                self.bench.port.pull_cable()
            self.ask(self.bench.stop)

    @property
    def stage(self) -> str:
        return self.bench.progress.stages[-1] if self.bench.progress.stages else ""

    @property
    def last(self) -> bytes:
        return self.sent[-1][1] if self.sent else b""

    @property
    def since_last_s(self) -> float:
        return self.bench.clock.monotonic() - (self.sent[-1][0] if self.sent else self.began_s)

    def holds(self) -> list[float]:
        return [at_s for at_s, data in self.sent if any(word in data for word in HOLDS)]


def has(words: tuple[bytes, ...]) -> Callable[[Watched], bool]:
    return lambda run: any(word in run.last for word in words)


STAGES: Mapping[str, Callable[[Watched], bool]] = {
    "waiting for the greeting": lambda run: not run.sent and run.since_last_s > 0.2,
    "reading the settings": has(READS),
    "making ready": lambda run: run.stage.startswith("comparing") and has(READY)(run),
    "homing": lambda run: run.stage.startswith("seeking") and run.bench.moving,
    "moving to a segment": lambda run: run.stage.startswith("moving to segment 2") and run.bench.moving,
    "settling": lambda run: (
        run.stage.startswith("moving to segment 2")
        and len(run.bench.progress.rests) == 1
        and run.bench.device.motion_log[-1].end_s > run.began_s
        and not run.bench.moving
        and run.bench.steps - (run.bench.progress.origin or 0) == run.bench.plan.route.segment_targets()[1]
    ),
    "gate open": lambda run: run.bench.gate.is_open,
    "asking the person": lambda run: run.bench.gate.is_open and run.bench.operator.told != [],
    "moving to the end": lambda run: run.stage.startswith("moving to the end") and run.bench.moving,
}


def held(kind: str, stage: str) -> bool:
    """Whether a stop says anything; on numbered lines a move is in pieces, and those that were sent run out."""
    return kind == "status-query" or stage == "homing"


def started(tmp_path: Path, kind: str, way: str, stage: str, **options: bool) -> tuple[Watched, BaseException]:
    """The run, and what it ended with."""
    setup = small_setup("heavy-shaft" if stage == "homing" else "shaft-scale")
    gate = OperatorGate if stage == "asking the person" else None
    bench = KINDS[kind](tmp_path, setup, gate=gate, greets=stage == "homing")
    run = Watched(bench, WAYS[way], STAGES[stage], **options)
    with (
        bench.stop.on_signals(),
        pytest.raises((FirmwareHostError, StopAskedError), match=r"stopped|Ctrl-C|cable is pulled") as ended,
    ):
        bench.run()
    return run, ended.value


@pytest.mark.some(12)
@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("stage", STAGES, ids=[stage.replace(" ", "-") for stage in STAGES])
@pytest.mark.parametrize("kind", KINDS)
def test_a_stop_is_found_in_every_stage_of_a_run(kind: str, stage: str, way: str, tmp_path: Path) -> None:
    run, ended = started(tmp_path, kind, way, stage)
    bench = run.bench
    assert run.asked_s is not None, f"never came to {stage}"
    assert isinstance(ended, RunStoppedError | StopAskedError), ended
    assert "Ctrl-C" in str(ended)
    moves = "moving" in stage or stage == "homing"
    assert run.under_way == moves
    holds = run.holds()
    if moves and not held(kind, stage):
        assert holds == []
        assert not any(at_s > run.asked_s for at_s, data in run.sent if b" G1 " in data)
        assert bench.device.motion_log[-1].end_s - run.asked_s < RUNS_OUT_S
    elif moves:
        assert len(holds) == 1
        assert holds[0] - run.asked_s <= FOUND_S
    elif stage == "settling" and not held(kind, stage):  # it stands, but nothing has proved that yet
        assert holds == []
        assert not any(at_s > run.asked_s for at_s, data in run.sent if b" G1 " in data)
        assert bench.clock.monotonic() - run.asked_s < RUNS_OUT_S
    else:
        assert len(holds) <= 1
        ended_s = holds[0] if holds else bench.clock.monotonic()
        assert ended_s - run.asked_s <= FOUND_S
    assert not bench.gate.is_open
    assert not bench.moving
    if bench.gate.opened:
        closed_s = bench.gate.opened[-1][1]
        assert closed_s is not None
        assert closed_s - run.asked_s <= FOUND_S


@pytest.mark.parametrize("stage", ["homing", "moving to a segment", "gate open"], ids=lambda s: s.replace(" ", "-"))
@pytest.mark.parametrize("kind", KINDS)
def test_further_ctrl_cs_and_a_port_that_is_gone_send_no_second_hold(kind: str, stage: str, tmp_path: Path) -> None:
    again, _ = started(tmp_path / "again", kind, "signal", stage, again=True)
    assert len(again.holds()) == held(kind, stage)
    assert not again.bench.moving
    gone, _ = started(tmp_path / "gone", kind, "signal", stage, again=True, pull=True)
    assert len(gone.holds()) <= 1
    assert not gone.bench.gate.is_open


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("kind", KINDS)
def test_a_setting_that_is_being_stored_is_finished_and_no_other_is_begun(kind: str, way: str, tmp_path: Path) -> None:
    bench = KINDS[kind](tmp_path, small_setup(), away=0)
    index = bench.index
    first, last = (f"${120 + index}", f"${100 + index}") if kind == "status-query" else ("M201 A", "M92 A")
    bench.device.settings[first] = 77.0
    old = bench.device.settings[last] = 10.0
    controller = bench.open()
    run = Watched(bench, WAYS[way], lambda run: first.encode() in run.last)
    with bench.stop.on_signals(), pytest.raises(StoppedError, match="being stored was finished") as told:
        write_for_plan(bench.machine, bench.plan, controller, bench.scales, tmp_path / "old.json")
    assert told.value.acts == (RestoreSettings(str(tmp_path / "old.json")),)
    assert run.asked_s is not None
    assert bench.clock.monotonic() - run.asked_s <= FOUND_S
    assert bench.device.settings[first] != 77.0
    assert bench.device.settings[last] == old
    assert (tmp_path / "old.json").exists()
