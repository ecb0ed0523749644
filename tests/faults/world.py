"""A station whose board, line, disk, clock and process can fail, in virtual time, and somebody who puts it right."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Any
from unittest.mock import patch

from firmware_host.controller.connecting import connect
from firmware_host.controller.controller import Controller
from firmware_host.errors import FirmwareHostError, JournalError, PortLostError
from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.simulator.event_device import EventDevice
from firmware_host.station.gates.gate import Gate, GateContext, PassRequest, PassState
from firmware_host.station.journal.record import PassRecord, RunRecord
from firmware_host.station.passes.control import RunControl
from firmware_host.station.passes.station import Station
from firmware_host.station.progress import SilentProgress
from firmware_host.station.resume import resume_run
from firmware_host.station.run import run_job
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.verify import verify_run
from firmware_host.station.settings.known_scale import KnownScales
from firmware_host.station.stop_request import StopRequest, stopped_while
from firmware_host.station.zero import ZeroAt
from tests.faults.disk import FaultyDisk, TraceOnDisk
from tests.faults.line.fault_clock import JumpingClock
from tests.faults.line.fault_line import HarmfulLine
from tests.faults.lying import off_by
from tests.faults.observer import PASS_S, Observer
from tests.faults.setups import Task
from tests.support.board_faults import slip
from tests.support.memory_port import MemoryPort
from tests.support.station_bench import AWAY_STEPS, ScriptedOperator

LONGEST_GO_S = 900.0
"""No go at a job of some seconds may take longer, whatever happens (virtual s)."""
MOST_TURNS = 60_000
"""Nor may it look at the line, the clock or the disk more often."""


class Died(BaseException):
    """The process is gone: nothing that follows reaches the board, the disk or the gate."""


class Hung(BaseException):
    """A go that does not end."""


class World:
    """Everything around one run. `on_turn` is called whenever the station does anything; `due_s` bounds how far time
    may run before that. `observer` sees the truth.
    """

    def __init__(self, home: Path, task: Task, random: Random, pass_s: float = PASS_S) -> None:
        self.task = task
        self.home = home
        self.random = random
        self.clock = TurningClock(self)
        self.device: EventDevice = task.case.spoken.device(task.variant, 0.0)  # type: ignore[assignment]
        self.line = HarmfulLine(self.device, random)
        self.port = TurningPort(self)
        self.disk = FaultyDisk()
        self.disk.alive = self.turn
        self.trace = TraceOnDisk(self.clock, self.disk)
        self.observer = Observer(pass_s=pass_s)
        self.gate = MarkingSide(self)
        self.scales = KnownScales(home / "controllers")
        self.folder = RunFolder.create(home / "runs", task.setup.job.name, self.clock.now())
        self.stop = StopRequest()
        self.on_turn: Callable[[], None] = lambda: None
        self.on_open: Callable[[], None] = lambda: None
        self.due_s: Callable[[], float | None] = lambda: None
        self.dead = False
        self.true_zero: int | None = None
        self.running = False
        self.slipped = False
        self._turns = 0
        self._go_began_s = 0.0
        if not task.homes:
            self.turn_axis(AWAY_STEPS)  # away from machine zero

    # --- the truth ---------------------------------------------------------------------------------------------

    @property
    def now_s(self) -> float:
        return self.clock.monotonic()

    @property
    def steps(self) -> int:
        """True steps of the axis, as its controller counts their sign."""
        return self.task.case.sign * self.line.steps_at(self.task.case.axis, self.now_s)

    @property
    def scale(self) -> Fraction:
        """Steps per unit that the board holds, exactly."""
        return StoredScale.as_written(self.task.setup.machine.steps_per_axis_unit).middle

    def off_steps(self, segment: int) -> int:
        """How far the part stands beside a segment's planned place."""
        planned = self.task.plan.route.segment_targets().tolist()[segment - 1]
        return self.steps - (self.true_zero or 0) - planned

    def broken_promises(self, *, ended: bool) -> list[str]:
        """Let everything come to a standstill, then compare."""
        for _ in range(10_000):
            if not self.line.moving_at(self.now_s):
                break
            self.clock.advance_to(max(self.line.next_event_s() or 0.0, self.now_s + 1e-6))
        job = self.task.setup.job
        wanted = [
            (segment, number)
            for segment in range(1, self.task.plan.segments.count + 1)
            for number in range(1, job.mark.passes + 1)
        ]
        settle_s = self.task.plan.settle_s
        return self.observer.broken_promises(self.line.motion_log, wanted, ended=ended, settle_s=settle_s)

    def ill_founded(self) -> list[str]:
        """What the run's own files say that does not fit."""
        return [f"files do not fit: {finding}" for finding in verify_run(self.folder) if not finding.holds]

    # --- one process -------------------------------------------------------------------------------------------

    def turn(self) -> None:
        """Told of everything the station does: the place where faults strike, and where a hang is noticed."""
        if self.dead:
            raise Died
        if not self.running:
            return
        self._turns += 1
        if self._turns > MOST_TURNS or self.now_s - self._go_began_s > LONGEST_GO_S:
            self.running = False
            raise Hung(f"{self._turns} turns, {self.now_s - self._go_began_s:.1f} s")
        self.on_turn()
        if self.dead:
            raise Died

    def die(self) -> None:
        """The process is gone from now on."""
        self.dead = True
        self.gate.process_died()

    def run(self) -> RunRecord:
        """A new process runs the job."""
        return self._go(False, lambda station: run_job(self.task.setup, self.task.plan, station))

    def resume(self, zero: ZeroAt | None = None) -> RunRecord:
        """A new process resumes the run; whoever is asked looks at the part."""

        def ask(entry: PassRecord) -> bool:
            key = (entry.segment, entry.number)
            answer = self.observer.marked(key)
            self.observer.story.append((key, answer))
            return answer

        return self._go(True, lambda station: resume_run(station, ask=ask, zero=zero))

    def _go(self, resuming: bool, act: Callable[[Station], RunRecord]) -> RunRecord:
        self._begin()
        with self.disk.at_work(), patch("firmware_host.station.runs.resumable.plan_job", self._plan):
            try:
                controller = self._open(resuming)
                try:
                    return act(self._station(controller))
                finally:
                    controller.close()
            finally:
                self.running = False

    def _begin(self) -> None:
        self.dead, self.slipped, self.port.lost, self.port.closed = False, False, False, False
        self.stop = StopRequest()
        self.gate.begin()
        self._turns, self._go_began_s, self.running = 0, self.now_s, True
        self.line.hang_up(self.now_s)
        self.line.client_opened(self.now_s)

    def _plan(self, setup: Setup) -> JobPlan:
        """The plan of the task's own setup, made once."""
        if setup.job != self.task.setup.job or setup.machine != self.task.setup.machine:
            raise JournalError(str(self.folder.setup), "another setup than the one that was kept")
        return self.task.plan

    def _open(self, resuming: bool) -> Controller:
        with stopped_while("opening the controller"):
            return connect(
                self.port,
                self.task.case.spoken.dialect(),
                self.clock,
                self.trace,
                axis=self.task.case.axis,
                stated=self.task.stated,
                drop_held_motion=resuming,
                check=lambda: self.stop.check(),
            )

    def _station(self, controller: Controller) -> Station:
        self.scales.remember(controller.url, controller.settings, written=f"{float(self.scale):.3f}")
        operator = ScriptedOperator(self.clock)
        return Station(
            controller,
            self.gate,
            self.clock,
            self.folder,
            self.scales,
            operator,
            progress=Zeroing(self),
            control=RunControl(self.stop),
        )

    def lie(self, steps: int, until_s: float) -> None:
        """Let every report of a position be off by `steps` until `until_s` (s)."""
        per_unit = float(self.scale)
        self.port.spoil = lambda data: off_by(data, steps, per_unit) if self.now_s < until_s else data

    # --- somebody who puts things right ------------------------------------------------------------------------

    def wait(self, duration_s: float) -> None:
        """Let time pass with no process there."""
        self.clock.advance_to(self.now_s + duration_s)
        self.gate.look()
        self.line.moving_at(self.now_s)

    def switch_off_and_on(self) -> None:
        self.line.hardware_reset(self.now_s)
        self.port.spoil = lambda data: data
        self.wait(10.0)

    def turn_to_zero(self) -> None:
        """Turn the part to the job's zero by hand."""
        if self.true_zero is not None:
            slip(self.device, self.task.case.axis, self.task.case.sign * (self.true_zero - self.steps), self.now_s)
        self.observer.place_known = True

    def turn_clear_of_switch(self) -> None:
        """Turn the part by hand to where it was at first, so that the home switch lies behind it, and not far."""
        slip(self.device, self.task.case.axis, -self.task.case.sign * self.steps, self.now_s)

    def begin_anew(self) -> None:
        """Nothing was begun in the folder: take a new one."""
        shutil.rmtree(self.folder.path, ignore_errors=True)
        self.folder = RunFolder.create(self.home / "runs", self.task.setup.job.name, self.clock.now())

    def turn_axis(self, steps: int) -> None:
        """Another program turns the axis by `steps`, the board knowing, and leaves."""
        self._begin()
        self.running = False
        with self._open(False) as controller:
            controller.prepare()
            target = round(controller.position_steps(controller.status())) + steps
            per_unit = self.scale
            accepted_s = controller.move_to(f"{float(target / per_unit):.5f}", "3000")
            controller.wait_for_standstill(
                target_steps=target,
                steps_per_unit=per_unit,
                accepted_at_s=accepted_s,
                planned_duration_s=2.0,
                deadline_s=accepted_s + 60.0,
            )


class TurningClock(JumpingClock):
    """Sleeping is a turn, and stops at every instant at which something is due."""

    def __init__(self, world: World) -> None:
        super().__init__()
        self._world = world

    def sleep(self, duration_s: float) -> None:
        end_s = self.monotonic() + max(duration_s, 0.0)
        while (due_s := self._world.due_s()) is not None and self.monotonic() < due_s < end_s:
            self.advance_to(due_s)
            self._world.turn()
        self.advance_to(end_s)
        self._world.turn()


class TurningPort(MemoryPort):
    """Every use is a turn; time runs to the next instant at which something is due, at most."""

    def __init__(self, world: World) -> None:
        super().__init__(world.line, world.clock)
        self._world = world

    def write(self, data: bytes) -> None:
        self._world.turn()
        super().write(data)

    def read(self, timeout_s: float) -> bytes:
        deadline_s = self.clock.monotonic() + timeout_s
        while True:
            self._world.turn()
            due_s = self._world.due_s()
            now_s = self.clock.monotonic()
            stop_s = deadline_s if due_s is None or due_s <= now_s else min(deadline_s, due_s)
            data = super().read(stop_s - now_s)
            if data or self.clock.monotonic() >= deadline_s:
                return data

    def close(self) -> None:
        if not self._world.dead:
            super().close()

    def _check(self) -> None:
        if self._world.dead:
            raise Died
        if self.lost or self.closed:
            raise PortLostError(self.url, "the cable is pulled" if self.lost else "is closed")


class MarkingSide(Gate):
    """Marks for as long as a pass takes, then says done. `goes_on`: it marks to the end though the process has died."""

    kind = "marking side"

    def __init__(self, world: World) -> None:
        self._world = world
        self._opened_s: float | None = None
        self.goes_on = False

    @classmethod
    def build(cls, options: Any, context: GateContext) -> MarkingSide:
        raise NotImplementedError("tests make it themselves")

    @property
    def is_open(self) -> bool:
        return self._opened_s is not None

    def open(self, request: PassRequest) -> None:
        world = self._world
        world.turn()
        if self.is_open:
            world.observer.broken.append(f"gate opened twice: {request}")
        self._opened_s = world.now_s
        world.observer.open((request.segment, request.number), world.now_s, world.off_steps(request.segment))
        world.on_open()

    def poll(self) -> PassState:
        self._world.turn()
        if self._opened_s is None:
            raise FirmwareHostError
        return (
            PassState.DONE
            if self._world.now_s - self._opened_s >= self._world.observer.pass_s - 1e-9
            else PassState.MARKING
        )

    def close(self) -> None:
        if self._world.dead:
            raise Died
        self._shut(self._world.now_s)

    # --- what happens without the process ----------------------------------------------------------------------

    def begin(self) -> None:
        """A new process has the gate: it is closed at first."""
        self.look()
        self._shut(self._world.now_s)

    def process_died(self) -> None:
        if not self.goes_on:
            self._shut(self._world.now_s)

    def look(self) -> None:
        """What has gone on alone has come to its end at its time."""
        pass_s = self._world.observer.pass_s
        if self._opened_s is not None and self._world.now_s >= self._opened_s + pass_s:
            self._shut(self._opened_s + pass_s)

    def _shut(self, now_s: float) -> None:
        if self._opened_s is not None:
            self._opened_s = None
            self._world.observer.close(now_s)


class Zeroing(SilentProgress):
    """Notes where the job's zero is on the part, the first time it is set."""

    def __init__(self, world: World) -> None:
        self._world = world

    def zero(self, origin_steps: int) -> None:
        world = self._world
        if world.task.homes and world.slipped:
            return  # a stall while the switch was sought: where the zero is now, nobody can know
        if world.true_zero is None:
            world.true_zero = world.steps
        if world.task.homes:
            world.observer.place_known = True
