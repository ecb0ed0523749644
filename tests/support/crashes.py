"""A process that dies at any instant of a run, and what must be true once the run was resumed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from firmware_host.clock import Clock
from firmware_host.errors import (
    JournalError,
)
from firmware_host.model import Setup
from firmware_host.station.journal.events import Event
from firmware_host.station.journal.journal import Journal
from firmware_host.station.runs.listing import read_record
from tests.support.station_bench import Phase, StationBench, small_setup

SEEKS_BACKWARD: dict[str, Any] = {"stored": {"$23": 8, "$22": 1}, "home_switches": {"A": -2000}}
"""A switch on the side away from the job, so that it can be found again wherever the run stopped."""
ALL = [(segment, number) for segment in (1, 2, 3) for number in (1, 2)]


class Crash(BaseException):
    """The process is gone: nothing that follows reaches the board or the disk."""


class CrashingJournal(Journal):
    """Dies at the n-th line (from 1): before it, in the middle of it, or right after it is on the disk."""

    lines = 0
    dies_at = 0
    how = "before"
    died_writing = ""
    on_death: Callable[[], None] = staticmethod(lambda: None)

    def __init__(self, path: Path, clock: Clock) -> None:
        super().__init__(path, clock)
        self._dead = False

    def write(self, event: Event, *, with_next: bool = False) -> None:
        if self._dead:
            raise JournalError(str(self._path), "the process is gone")
        kind = CrashingJournal
        kind.lines += 1
        if kind.lines != kind.dies_at:
            super().write(event, with_next=with_next)
            return
        self._dead = True
        kind.died_writing = event.kind
        if kind.how == "after":
            super().write(event, with_next=with_next)
        elif kind.how == "torn" and self._file is not None:
            self._file.append(b'{"n":%d,"t":"2026' % self._next)
        kind.on_death()
        raise Crash


def die(bench: StationBench, crashing: type[CrashingJournal], at: int, how: str) -> None:
    """Let the process die at that many lines from now: the port is dead, too."""
    crashing.lines, crashing.dies_at, crashing.how = 0, at, how
    crashing.on_death = staticmethod(bench.port.pull_cable)


def dies_in(bench: StationBench, phase: Phase, *, rests: int = 1) -> None:
    """Let the process die in this phase: the port is dead, too."""

    def crash() -> None:
        bench.port.pull_cable()
        raise Crash

    bench.at(phase, crash, rests=rests)


def revive(bench: StationBench, crashing: type[CrashingJournal] | None = None) -> None:
    """A new process: the gate of the old one closed with it, and the port can be opened again."""
    if crashing is not None:
        crashing.dies_at = 0
    bench.gate.close()
    bench.port.lost = False
    bench.clock.sleep(30.0)
    bench.device.transmit(bench.clock.monotonic())  # what the board said meanwhile nobody heard


def resume_truthfully(bench: StationBench) -> None:
    """Resume; whoever is asked about a pass says what is true: it is marked if the gate was open for it."""
    unknown = [(entry.segment, entry.number) for entry in read_record(bench.folder).unknown]
    assert len(unknown) <= 1
    marked = unknown[0] in bench.passes_marked() if unknown else False
    assert bench.resume(done=marked).outcome == "done"


def every_pass_once(bench: StationBench) -> None:
    assert sorted(bench.passes_marked()) == ALL
    assert {true - planned for _, planned, _, true in bench.progress.rests} == {0}
    bench.never_open_while_moving()
    if bench.plan.route.one_side:
        bench.approached_from_below()
    record = read_record(bench.folder)
    assert record.outcome == "done"
    assert record.done == len(ALL)
    assert bench.steps == bench.progress.origin


def stopped(tmp_path: Path, setup: Setup | None = None, **options: Any) -> StationBench:
    """A run that died in the second segment's first pass."""
    bench = StationBench(tmp_path, setup or small_setup(), **options)
    dies_in(bench, "gate-open", rests=2)
    with pytest.raises(Crash):
        bench.run()
    revive(bench)
    return bench
