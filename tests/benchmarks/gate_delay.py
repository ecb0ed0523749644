"""From the last step of an index to the open gate, in real time, on boards as quick as real ones.

As a script: python tests/benchmarks/gate_delay.py [--indexes 100] [--settle "0.1 s"] [--dialect status-query]
[--board status-query-b].
With --closing: from a board's reset while the gate is open to the closed gate, of so many runs.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from statistics import median, quantiles
from typing import Any

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from firmware_host.clock import SystemClock
from firmware_host.controller.port.trace import FileTrace
from firmware_host.controller.stored_settings import decimal_text
from firmware_host.errors import FirmwareHostError
from firmware_host.model import Machine, Setup
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.simulator.numbered_line import recorded as numbered_line
from firmware_host.simulator.numbered_line.variant import NumberedLineVariant
from firmware_host.simulator.serving.socket_server import SocketServer
from firmware_host.simulator.status_query import recorded as status_query
from firmware_host.station.gates.gate import Gate, GateContext, PassRequest, PassState
from firmware_host.station.opening import open_controller
from firmware_host.station.passes.station import Station
from firmware_host.station.run import run_job
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.settings.check import safe_settings
from firmware_host.station.settings.known_scale import KnownScales
from tests.contract.spoken import SPOKEN, Case
from tests.faults.setups import as_planned
from tests.support.real_boards import REAL_BOARDS
from tests.support.station_bench import ScriptedOperator, changed_setup

RECORDED: Mapping[str, Any] = {**status_query.RECORDED, **numbered_line.RECORDED}
SEGMENTS = 50
"""Segments of one run: as many as a marking of the shipped job can have."""


@dataclass
class NotedGate(Gate):
    """A marking side that is done at once, and notes when it was let in (s of the clock)."""

    clock: SystemClock
    opened_s: list[float] = field(default_factory=list)

    @classmethod
    def build(cls, options: Any, context: GateContext) -> NotedGate:
        raise NotImplementedError("the benchmark makes it itself")

    def open(self, request: PassRequest) -> None:
        self.opened_s.append(self.clock.monotonic())

    def poll(self) -> PassState:
        return PassState.DONE

    def close(self) -> None:
        pass


@dataclass
class TroubledGate(NotedGate):
    """A marking side that is never done; some time after it is let in comes trouble. It notes when it is shut out."""

    trouble: Callable[[], None] = lambda: None
    troubled_s: float | None = None
    closed_after_s: float | None = None

    def open(self, request: PassRequest) -> None:
        super().open(request)
        threading.Timer(random.uniform(0.1, 0.2), self._be_troubled).start()

    def _be_troubled(self) -> None:
        self.troubled_s = self.clock.monotonic()
        self.trouble()

    def poll(self) -> PassState:
        return PassState.MARKING

    def close(self) -> None:
        if self.troubled_s is not None and self.closed_after_s is None:
            self.closed_after_s = self.clock.monotonic() - self.troubled_s


@dataclass(frozen=True)
class Delays:
    """Of every index of a run: from its last step to the open gate, beyond the planned settle (s)."""

    board: str
    settle_s: float
    beyond_s: tuple[float, ...]

    def __str__(self) -> str:
        ms = [1000 * value for value in self.beyond_s]
        worst = quantiles(ms, n=100)[-1]
        return (
            f"{self.board:26} {len(ms)} indexes, settle {1000 * self.settle_s:5.1f} ms: gate open beyond it "
            f"median {median(ms):6.1f} ms, 99th percentile {worst:6.1f} ms, least {min(ms):6.1f} ms"
        )


def recorded(board: str) -> Case:
    """A board that was recorded, by its name; homing and soft limits are off."""
    if board in numbered_line.RECORDED:
        return Case(board, SPOKEN["numbered-line"], RECORDED[board])
    variant = RECORDED[board]
    free = replace(variant, settings={**variant.settings, "$20": 0, "$22": 0})
    return Case(board, SPOKEN["status-query"], free)


def planned(case: Case, settle: str | None, segments: int) -> tuple[Setup, JobPlan]:
    """The shipped shaft with many narrow segments, one pass each, on a controller of the dialect."""
    index = {"finish": "stay"} | ({} if settle is None else {"settle": settle})
    setup = changed_setup("shaft-scale", mark={"arc": f"{segments} mm", "width": "20 mm", "passes": 1},
                          segments={"count": segments}, index=index)  # fmt: skip
    document = setup.machine.model_dump(mode="json", exclude_none=True)
    document["axis"]["letter"] = case.axis
    document["link"]["dialect"] = case.spoken.dialect().name
    if isinstance(case.variant, NumberedLineVariant) and case.variant.motion.first_step_rate:
        # a run plans with that by itself; stated, so that its settle time is the one that is counted from here
        document["link"]["stated"] = {"second_step_after": f"{1000 / case.variant.motion.first_step_rate:.4f} ms"}
    setup = replace(setup, machine=Machine.model_validate(document))
    return setup, plan_job(setup)


def run_on(server: SocketServer, setup: Setup, plan: JobPlan, gate: NotedGate, home: Path) -> None:
    """Run a job from its beginning at a board behind a socket."""
    clock = gate.clock
    trace = FileTrace(home / "trace", clock)
    opened = open_controller(setup.machine, server.url, clock, trace, lock_folder=home / "locks")
    with trace, opened as controller:
        folder = RunFolder.create(home / "runs", setup.job.name, clock.now())
        scales = KnownScales(home / "scales")
        written = decimal_text(safe_settings(setup.machine, plan).scale)
        scales.remember(controller.url, controller.settings, written=written)
        run_job(setup, plan, Station(controller, gate, clock, folder, scales, ScriptedOperator(clock)))


def closed_after_s(case: Case, home: Path) -> float:
    """How long the gate stays open after the board was reset behind everybody's back (s)."""
    setup, plan = planned(case, "0 s", 2)
    clock = SystemClock()
    device = case.spoken.device(as_planned(case, setup, plan)[0], clock.monotonic())
    with SocketServer(device, clock) as server:

        def reset() -> None:
            with server.inspect() as (inspected, now_s):
                inspected.hardware_reset(now_s)

        gate = TroubledGate(clock, trouble=reset)
        with suppress(FirmwareHostError):
            run_on(server, setup, plan, gate, home)
    if gate.closed_after_s is None:
        raise RuntimeError("the reset was not noticed")
    return gate.closed_after_s


def one_run(case: Case, home: Path, settle: str | None, segments: int) -> Delays:
    """One job from its beginning to its end."""
    setup, plan = planned(case, settle, segments)
    clock = SystemClock()
    device = case.spoken.device(as_planned(case, setup, plan)[0], clock.monotonic())
    gate = NotedGate(clock)
    with SocketServer(device, clock) as server:
        run_on(server, setup, plan, gate, home)
        with server.inspect() as (inspected, _now_s):
            ends_s = [travel.end_s for travel in inspected.motion_log]
    beyond_s = []
    for opened_s in gate.opened_s[1:]:  # the first segment is where the axis stands
        last_s = max(end_s for end_s in ends_s if end_s <= opened_s)
        beyond_s.append(opened_s - last_s - plan.settle_s)
    return Delays(case.name, plan.settle_s, tuple(beyond_s))


def measured(case: Case, indexes: int, settle: str | None) -> Delays:
    """As many runs as `indexes` ask for, taken together."""
    parts: list[Delays] = []
    while sum(len(part.beyond_s) for part in parts) < indexes:
        with tempfile.TemporaryDirectory() as home:
            parts.append(one_run(case, Path(home), settle, SEGMENTS))
    return replace(parts[0], beyond_s=tuple(value for part in parts for value in part.beyond_s))


def closing(case: Case, runs: int) -> str:
    """How soon the gate closes once the board was reset, of so many runs, as a line."""
    ms = []
    for _ in range(runs):
        with tempfile.TemporaryDirectory() as home:
            ms.append(1000 * closed_after_s(case, Path(home)))
    return f"{case.name:26} gate closed after a reset: median {median(ms):5.1f} ms, most {max(ms):5.1f} ms"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--indexes", type=int, default=100)
    parser.add_argument("--settle", help="instead of the one that the job needs; may be given again", action="append")
    parser.add_argument("--dialect", choices=sorted(REAL_BOARDS), action="append")
    parser.add_argument("--board", choices=sorted(RECORDED), action="append", default=[], help="one that was recorded")
    parser.add_argument("--closing", type=int, default=0, help="runs in which the board is reset at the open gate")
    options = parser.parse_args()
    dialects = options.dialect or (() if options.board else sorted(REAL_BOARDS))
    cases = (*(REAL_BOARDS[dialect] for dialect in dialects), *(recorded(board) for board in options.board))
    for case in cases:
        if options.closing:
            sys.stdout.write(f"{closing(case, options.closing)}\n")
            continue
        for settle in options.settle or [None, "0.1 s"]:
            sys.stdout.write(f"{measured(case, options.indexes, settle)}\n")
            sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
