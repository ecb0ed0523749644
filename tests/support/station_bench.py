"""A whole station on the bench: a simulated board, a run folder, a scripted person and a gate that is watched."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

import pytest

from firmware_host.clock import Clock, VirtualClock
from firmware_host.controller.connecting import connect
from firmware_host.controller.controller import Controller
from firmware_host.controller.dialect import Dialect
from firmware_host.controller.port.trace import MemoryTrace, TraceKind
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.controller.stored_settings import decimal_text
from firmware_host.model import Job, Setup, load_job
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.simulator.status_query.boards import board_for_axis
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.simulator.status_query.variant import StatusQueryVariant
from firmware_host.station.gates.gate import Gate, GateContext, PassRequest, PassState
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.journal.record import PassRecord, RunRecord
from firmware_host.station.opening import stated_settings
from firmware_host.station.operator import Operator
from firmware_host.station.passes.choice import EVERY_PASS, PassChoice
from firmware_host.station.passes.control import RunControl
from firmware_host.station.passes.station import Station
from firmware_host.station.progress import Progress, RunState
from firmware_host.station.resume import resume_run
from firmware_host.station.run import run_job
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.settings.check import safe_settings
from firmware_host.station.settings.known_scale import KnownScales
from firmware_host.station.stop_request import StopRequest
from firmware_host.station.zero import AskZero, ZeroAt
from tests.support.memory_port import MemoryPort
from tests.support.traces import of_kind

PASS_S = 0.5
AWAY_STEPS = 1234
"""Where the axis stands before a run unless a test says otherwise: away from machine zero."""

Phase = Literal["homing", "between", "moving", "settling", "gate-open", "finishing"]


def quick_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out waiting for the disk, where it isn't what is tested."""
    monkeypatch.setattr(os, "fsync", lambda descriptor: None)


def changed_setup(name: str, **tables: Any) -> Setup:
    """A shipped job with some of its tables replaced; None takes a table out."""
    setup = load_job(name)
    document = setup.job.model_dump(mode="json", exclude_none=True) | tables
    job = Job.model_validate({key: value for key, value in document.items() if value is not None})
    return replace(setup, job=job)


def small_setup(name: str = "shaft-scale", *, passes: int = 2, finish: str = "unwind") -> Setup:
    """Three segments of 10 mm on a shipped job's part and machine."""
    return changed_setup(
        name,
        mark={"arc": "30 mm", "width": "10 mm", "passes": passes},
        segments={"count": 3},
        index={"finish": finish, "settle": "0.25 s"},
    )


class HookedClock(VirtualClock):
    """Tells of every sleep before it begins. A run sleeps only while it settles.

    While the gate is open it listens, which the bench tells of as of a sleep.
    """

    def __init__(self) -> None:
        super().__init__()
        self.on_sleep: Callable[[], None] = lambda: None

    def sleep(self, duration_s: float) -> None:
        self.on_sleep()
        super().sleep(duration_s)


class ScriptedOperator(Operator):
    """Answers are typed at their instants (s of the clock); `told` is all that was said to the person."""

    def __init__(self, clock: Clock, answers: Iterable[tuple[float, str]] = ()) -> None:
        self._clock = clock
        self._answers = sorted(answers)
        self.told: list[str] = []

    def tell(self, text: str) -> None:
        self.told.append(text)

    def type(self, text: str, at_s: float | None = None) -> None:
        """Type a line, at once unless an instant is given."""
        self._answers = sorted([*self._answers, (self._clock.monotonic() if at_s is None else at_s, text)])

    def answer(self) -> str | None:
        if self._answers and self._answers[0][0] <= self._clock.monotonic():
            return self._answers.pop(0)[1]
        return None

    def forget(self) -> None:
        while self.answer() is not None:
            pass


@dataclass
class WatchedGate(Gate):
    """Passes everything on to `inner` and notes when the gate was open: [opened s, closed s or None, which pass]."""

    inner: Gate
    clock: VirtualClock
    opened: list[tuple[float, float | None, PassRequest]] = field(default_factory=list)
    events: list[str] = field(default_factory=list)
    on_close: Callable[[], None] = lambda: None

    @classmethod
    def build(cls, options: Any, context: GateContext) -> WatchedGate:
        raise NotImplementedError("tests make it themselves")

    @property
    def is_open(self) -> bool:
        return bool(self.opened) and self.opened[-1][1] is None

    def attach(self, controller: Controller) -> None:
        self.inner.attach(controller)

    def open(self, request: PassRequest) -> None:
        assert not self.is_open, "opened twice"
        self.events.append("open")
        self.opened.append((self.clock.monotonic(), None, request))
        self.inner.open(request)

    def poll(self) -> PassState:
        return self.inner.poll()

    def wants_stop(self) -> bool:
        return self.inner.wants_stop()

    def close(self) -> None:
        self.on_close()
        self.inner.close()
        if self.is_open:
            self.events.append("close")
            self.opened[-1] = (self.opened[-1][0], self.clock.monotonic(), self.opened[-1][2])

    def ended(self, outcome: str) -> None:
        self.inner.ended(outcome)


class TrueSteps(Progress):
    """Reads the motor's own counter at the job's zero and at each rest; `on_stage` is told of every stage."""

    def __init__(self, read: Callable[[], int]) -> None:
        self._read = read
        self.origin: int | None = None
        self.rests: list[tuple[int, int, float, int]] = []
        """(segment, planned, reported, true), all in microsteps from the job's zero."""
        self.stages: list[str] = []
        self.left: list[float | None] = []
        self.states: list[RunState] = []
        self.on_state: Callable[[RunState], None] = lambda state: None
        self.notes: list[str] = []
        self.on_stage: Callable[[str], None] = lambda text: None

    def stage(self, text: str) -> None:
        self.stages.append(text)
        self.on_stage(text)

    def note(self, text: str) -> None:
        self.notes.append(text)

    def zero(self, origin_steps: int) -> None:
        if self.origin is None:
            self.origin = self._read()

    def done(self, passes: int, of: int, left_s: float | None) -> None:
        self.left.append(left_s)

    def state(self, state: RunState) -> None:
        self.states.append(state)
        self.on_state(state)

    def standstill(self, segment: int, planned: int, reported: float) -> None:
        assert self.origin is not None
        self.rests.append((segment, planned, reported, self._read() - self.origin))


class StationBench:
    """Builds a station for a setup and runs it; everything in virtual time, and all of it open to inspection.

    The board's settings are those that the plan asks for, steps-per-unit rounded to the three decimals printed;
    `stored` says otherwise. It powers up, turns to `away` steps (unless it has a home switch), and stands. `known`:
    we wrote its steps-per-unit. `events` is the order of things: "open", "close", and what was written to the board.
    """

    def __init__(
        self,
        tmp_path: Path,
        setup: Setup | str,
        *,
        stored: Mapping[str, float] | None = None,
        away: int = AWAY_STEPS,
        known: bool = True,
        gate: Callable[[GateContext], Gate] | None = None,
        **variant: Any,
    ) -> None:
        self.setup = load_job(setup) if isinstance(setup, str) else setup
        self.plan: JobPlan = plan_job(self.setup)
        self.machine = self.setup.machine
        self.axis = self.machine.axis.letter
        self.clock = HookedClock()
        self.device = self.make_device(stored or {}, variant)
        self.port = MemoryPort(self.device, self.clock)
        self.trace = MemoryTrace(self.clock)
        self.scales = KnownScales(tmp_path / "controllers")
        self.operator = ScriptedOperator(self.clock)
        self.context = GateContext(self.clock, self.operator)
        make = gate or (lambda context: TimedGate(context, PASS_S))
        self.gate = WatchedGate(make(self.context), self.clock)
        self.progress = TrueSteps(lambda: self.steps)
        self.folder = RunFolder.create(tmp_path / "runs", self.setup.job.name, self.clock.now())
        if away and not self.machine.axis.home_switch:
            self._turn_to(away)
        self.motion_before = len(self.device.motion_log)
        self.known = known
        self.asked: list[tuple[int, int]] = []
        self.control = RunControl()
        self.greeting_s = 0.5
        self.events = self.gate.events
        self._due: tuple[Phase, int, Callable[[], None]] | None = None
        self._watch()

    # --- the truth ---------------------------------------------------------------------------------------------

    @property
    def steps(self) -> int:
        return self.device.steps_at(self.axis, self.clock.monotonic())

    @property
    def moving(self) -> bool:
        return self.device.moving_at(self.clock.monotonic())

    @property
    def index(self) -> int:
        """Place of the axis in the board's settings: `f"${100 + index}"` is its steps per unit."""
        return self.device.variant.axes.index(self.axis)

    def passes_marked(self) -> list[tuple[int, int]]:
        """(segment, pass) of every time the gate was open, in order."""
        return [(request.segment, request.number) for _, _, request in self.gate.opened]

    def sent_lines(self) -> list[str]:
        """Every line (no single bytes) that went to the board."""
        sent = of_kind(self.trace, TraceKind.SENT)
        return [data.decode("ascii").strip() for data in sent if data.endswith(b"\n")]

    def sent_moves(self) -> list[str]:
        """The lines among them that name the axis."""
        return [line for line in self.sent_lines() if self.axis in line and not line.startswith("$")]

    def never_open_while_moving(self, *, settled: bool = True) -> None:
        """Compare the gate's times with the motor's own record: nothing overlaps, and the settle time lies between."""
        assert self.gate.opened
        assert not self.gate.is_open
        settle_s = self.plan.settle_s if settled else 0.0
        for opened_s, closed_s, request in self.gate.opened:
            assert closed_s is not None
            for travel in self.device.motion_log[self.motion_before :]:
                apart = travel.end_s + settle_s <= opened_s or travel.start_s >= closed_s
                assert apart, f"{request}: open {opened_s} to {closed_s}, moving {travel.start_s} to {travel.end_s}"

    def approached_from_below(self) -> None:
        """Where lost motion is taken up, the last travel before each opening of the gate went forward."""
        assert self.plan.route.one_side
        log = self.device.motion_log[self.motion_before :]
        for opened_s, _, request in self.gate.opened:
            last = [travel for travel in log if travel.end_s <= opened_s][-1]
            assert last.to_steps > last.from_steps, f"{request}: {last}"

    def closed_before_anything_else(self) -> None:
        """Between the gate's last opening and whatever was sent after it but status requests, it was closed."""
        last = len(self.events) - 1 - self.events[::-1].index("open")
        rest = [event for event in self.events[last + 1 :] if event != "?"]
        assert rest[:1] == ["close"], rest[:3]

    # --- something happens --------------------------------------------------------------------------------------

    def at(self, phase: Phase, act: Callable[[], None], *, rests: int = 1) -> None:
        """Do `act` once, in the given phase after at least so many rests have been proved and settled."""
        self._due = (phase, rests, act)

    def _watch(self) -> None:
        def looked_at(data: bytes) -> bytes:
            if self._due is not None and self.moving:
                self._come("homing" if not self.progress.rests else "moving")
            return data

        def stage(text: str) -> None:
            if text.startswith("moving to segment"):
                self._come("between")
            elif text.startswith("moving to the end"):
                self._come("finishing")

        self.port.spoil = looked_at
        self.port.on_write = lambda data: self.events.append(data.decode("ascii", "backslashreplace").strip("\n"))
        self.progress.on_stage = stage
        self.clock.on_sleep = lambda: self._come("gate-open" if self.gate.is_open else "settling")

    def _come(self, phase: Phase) -> None:
        settled = len(self.progress.rests) - (phase == "settling")  # the last one proved settles still
        if self._due is not None and self._due[0] == phase and settled >= self._due[1]:
            act, self._due = self._due[2], None
            act()

    # --- what is on the bench ------------------------------------------------------------------------------------

    def make_device(self, stored: Mapping[str, float], variant: Mapping[str, Any]) -> Any:
        return StatusQueryDevice(_variant(self, stored, variant))

    @property
    def counts_steps(self) -> bool:
        """True for boards that print fewer decimals than were written."""
        return self.make_dialect().capabilities.counts_steps

    def make_dialect(self) -> Dialect:
        return StatusQueryDialect()

    # --- acts --------------------------------------------------------------------------------------------------

    def _turn_to(self, steps: int) -> None:
        """Turn the axis by a raw line, as another program did before."""
        scale = self.device.settings[f"${100 + self.index}"]
        self.raw(f"G21 G90 G53 G1 {self.axis}{steps / scale:.6f} F2000")
        assert self.steps == steps

    def raw(self, line: str, wait_s: float = 600.0) -> None:
        """Put a line on the board behind everybody's back and let `wait_s` pass."""
        self.device.receive(f"{line}\n".encode("ascii"), self.clock.monotonic())
        self.clock.sleep(wait_s)
        self.device.transmit(self.clock.monotonic())

    def strangers_line(self, line: str) -> None:
        """A line that the board carries out and answers, the answer never reaching us: only the motion can be seen."""
        look = self.port.spoil
        self.port.spoil = lambda data: look(data.replace(b"ok\r\n", b""))
        self.device.receive(f"{line}\n".encode("ascii"), self.clock.monotonic())

    def open(self, **options: Any) -> Controller:
        self.port.closed = False
        options.setdefault("greeting_timeout_s", self.greeting_s)
        options.setdefault("stated", stated_settings(self.machine))
        options.setdefault("check", lambda: self.stop.check())
        return connect(self.port, self.make_dialect(), self.clock, self.trace, axis=self.axis, **options)

    def station(self, controller: Controller) -> Station:
        hear = controller.hear

        def told(duration_s: float) -> None:
            self.clock.on_sleep()
            hear(duration_s)

        controller.hear = told  # type: ignore[method-assign]
        if self.known:
            written = decimal_text(safe_settings(self.machine, self.plan).scale) if self.counts_steps else None
            self.scales.remember(controller.url, controller.settings, written=written)
        return Station(
            controller=controller,
            gate=self.gate,
            clock=self.clock,
            folder=self.folder,
            scales=self.scales,
            operator=self.operator,
            progress=self.progress,
            control=self.control,
        )

    def new_folder(self) -> None:
        """The next run is another one."""
        self.control = RunControl()
        self.folder = RunFolder.create(self.folder.path.parent, self.setup.job.name, self.clock.now())

    @property
    def stop(self) -> StopRequest:
        """The wish to stop the run that is next or under way."""
        return self.control.stop

    def run(
        self, zero: ZeroAt | None = None, ask_zero: AskZero | None = None, passes: PassChoice = EVERY_PASS
    ) -> RunRecord:
        """Open, run the job, close."""
        controller = self.open()
        try:
            station = self.station(controller)
            return run_job(self.setup, self.plan, station, zero=zero, ask_zero=ask_zero, passes=passes)
        finally:
            controller.close()

    def resume(self, *, done: bool = False, zero: ZeroAt | None = None) -> RunRecord:
        """Open, resume the run, close; every pass asked about is noted in `asked` and answered with `done`."""

        def ask(entry: PassRecord) -> bool:
            self.asked.append((entry.segment, entry.number))
            return done

        self.control = RunControl()
        controller = self.open(drop_held_motion=True)
        try:
            return resume_run(self.station(controller), ask=ask, zero=zero)
        finally:
            controller.close()


def _variant(bench: StationBench, stored: Mapping[str, float], variant: Mapping[str, Any]) -> StatusQueryVariant:
    """A board whose axis is set as the plan asks, `stored` on top."""
    machine = bench.machine
    safe = safe_settings(machine, bench.plan)
    per_axis = {
        100: float(StoredScale.as_written(machine.steps_per_axis_unit).middle),
        110: float(safe.rate),
        120: float(safe.acceleration),
    }
    homes = machine.axis.home_switch
    rate = machine.link.highest_step_rate.si
    board = board_for_axis(bench.axis, per_axis, highest_step_rate=rate, homes=homes, homing_on=homes)
    return replace(board, settings={**board.settings, **stored}, **variant)
