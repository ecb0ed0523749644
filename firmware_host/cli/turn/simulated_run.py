"""A whole job on a simulated controller: over a real connection, for `demo`, or in virtual time, for a rehearsal."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from firmware_host.cli.turn.virtual_port import VirtualPort
from firmware_host.clock import Clock, VirtualClock
from firmware_host.controller.connecting import connect
from firmware_host.controller.controller import Controller
from firmware_host.controller.port.trace import FileTrace
from firmware_host.controller.registry import load_dialect
from firmware_host.controller.stored_settings import Difference
from firmware_host.model import Setup
from firmware_host.planning.limits.accept import read_accepted
from firmware_host.planning.plan import JobPlan
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.serving.serve import serve
from firmware_host.station.gates.dry import DryGate
from firmware_host.station.gates.gate import Gate, GateContext
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.opening import open_controller, stated_settings
from firmware_host.station.operator import Operator
from firmware_host.station.passes.choice import EVERY_PASS, PassChoice
from firmware_host.station.passes.control import RunControl
from firmware_host.station.passes.station import Station
from firmware_host.station.progress import PassingOn, Progress, SilentProgress
from firmware_host.station.run import run_job
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.settings.known_scale import KnownScales
from firmware_host.station.settings.write import backup_path, write_for_plan
from firmware_host.station.stop_request import StopRequest

_PASS_S = 1.0
REHEARSED_PASS_S = 0.5
"""So long a rehearsed pass lasts (s of virtual time)."""

Announce = Callable[[str, tuple[Difference, ...]], None]


@dataclass(frozen=True)
class SimulatedRun:
    """A run that is over. `counters`: the motor's step counter at each segment's standstill, from the job's zero.

    `lasted_s`: by its clock, from the first look at the board on; `written`: settings that did not fit the plan.
    """

    record: RunRecord
    counters: Mapping[int, int]
    lasted_s: float
    written: tuple[Difference, ...]

    @property
    def off_plan(self) -> int:
        """At how many passes the motor stood at another microstep than planned."""
        return sum(self.counters.get(entry.segment) != entry.planned_microstep for entry in self.record.passes)


def run_simulated(
    setup: Setup,
    plan: JobPlan,
    home: Path,
    clock: Clock,
    *,
    pass_s: float = _PASS_S,
    progress: Progress | None = None,
    control: RunControl | None = None,
    announce: Announce = lambda url, before: None,
) -> SimulatedRun:
    """Serve a board as delivered, write the settings that the plan asks for, and run the job, each pass `pass_s` (s).

    The run folder and all notes go below `home`. `announce` is told the board's URL and the settings that did not fit,
    before anything moves; `control`: wishes for the run. Nothing real moves. Raises as `write_for_plan` and `run_job`.
    """
    machine, control = setup.machine, control or RunControl()
    with ExitStack() as stack:
        board = simulated_device(machine, delivered=True, start_s=clock.monotonic())
        server = stack.enter_context(serve(board, clock))
        bench = _Bench(setup, plan, home, clock, control, stack)
        controller = open_controller(
            machine, server.url, clock, bench.trace, lock_folder=home / "locks", check=control.stop.check
        )
        return bench.run(
            controller,
            lambda: server.steps_at(machine.axis.letter),
            gate=lambda context: TimedGate(context, pass_s),
            progress=progress or SilentProgress(),
            announce=announce,
        )


def rehearse(
    setup: Setup,
    plan: JobPlan,
    home: Path,
    *,
    passes: PassChoice = EVERY_PASS,
    accept_limits: Iterable[str] = (),
    progress: Progress | None = None,
    stop: StopRequest | None = None,
    start: datetime | None = None,
) -> SimulatedRun:
    """The run of a job as `run_job` does it, on a simulated board in virtual time, which begins at `start`.

    In place of the job's gate each pass is a pause of `REHEARSED_PASS_S` in which nothing is marked. No port is opened,
    and all that it writes goes below `home`. Raises as `run_simulated`.
    """
    machine, stop = setup.machine, stop or StopRequest()
    clock = VirtualClock() if start is None else VirtualClock(start=start)
    with ExitStack() as stack:
        board = simulated_device(machine, delivered=True, start_s=clock.monotonic())
        bench = _Bench(setup, plan, home, clock, RunControl(stop), stack)
        controller = connect(
            VirtualPort(board, clock, "rehearsal"),
            load_dialect(machine.link.dialect),
            clock,
            bench.trace,
            axis=machine.axis.letter,
            stated=stated_settings(machine),
            check=stop.check,
        )
        return bench.run(
            controller,
            lambda: board.steps_at(machine.axis.letter, clock.monotonic()),
            gate=lambda context: DryGate(context, REHEARSED_PASS_S),
            progress=progress or SilentProgress(),
            passes=passes,
            accept_limits=accept_limits,
        )


class _Bench:
    """What a simulated run works with beside its controller: a run folder and notes below `home`."""

    def __init__(
        self, setup: Setup, plan: JobPlan, home: Path, clock: Clock, control: RunControl, stack: ExitStack
    ) -> None:
        self._setup, self._plan, self._home, self._clock = setup, plan, home, clock
        self._control, self._stack = control, stack
        self._folder = RunFolder.create(home, setup.job.name, clock.now())
        self.trace = FileTrace(self._folder.trace, clock)
        stack.callback(self.trace.close)

    def run(
        self,
        controller: Controller,
        steps: Callable[[], int],
        *,
        gate: Callable[[GateContext], Gate],
        progress: Progress,
        announce: Announce = lambda url, before: None,
        passes: PassChoice = EVERY_PASS,
        accept_limits: Iterable[str] = (),
    ) -> SimulatedRun:
        """Write the settings that the plan asks for, and run the job. `steps` reads the motor's own step counter."""
        setup, plan, clock = self._setup, self._plan, self._clock
        self._stack.callback(controller.close)
        scales = KnownScales(self._home / "controllers")
        backup = backup_path(self._home / "backups", controller.url, clock)
        accepted = read_accepted(accept_limits)
        before = write_for_plan(setup.machine, plan, controller, scales, backup, accepted=accepted)
        announce(controller.url, before)
        operator, counting = NobodyThere(), _Counting(progress, steps)
        station = Station(
            controller,
            gate(GateContext(clock, operator)),
            clock,
            self._folder,
            scales,
            operator,
            progress=counting,
            control=self._control,
        )
        begun_s = clock.monotonic()
        record = run_job(setup, plan, station, passes=passes, accept_limits=accept_limits)
        return SimulatedRun(record, counting.counters, clock.monotonic() - begun_s, before)


class _Counting(PassingOn):
    """Reads the simulated motor's step counter at the job's zero and at each standstill, and passes everything on."""

    def __init__(self, inner: Progress, steps: Callable[[], int]) -> None:
        super().__init__(inner)
        self._steps, self._origin = steps, 0
        self.counters: dict[int, int] = {}

    def zero(self, origin_steps: int) -> None:
        self._origin = self._steps()
        super().zero(origin_steps)

    def standstill(self, segment: int, planned: int, reported: float) -> None:
        self.counters[segment] = self._steps() - self._origin
        super().standstill(segment, planned, reported)


class NobodyThere(Operator):
    """The simulation needs nobody at the machine."""

    def tell(self, text: str) -> None:
        pass

    def answer(self) -> str | None:
        return None

    def forget(self) -> None:
        pass
