"""A whole job on a simulated controller, over a real connection: what `demo` shows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from firmware_host.clock import Clock
from firmware_host.controller.port.trace import FileTrace
from firmware_host.controller.stored_settings import Difference
from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan
from firmware_host.simulator.boards import simulated_device
from firmware_host.simulator.serving.serve import serve
from firmware_host.station.gates.gate import GateContext
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.opening import open_controller
from firmware_host.station.operator import Operator
from firmware_host.station.passes.control import RunControl
from firmware_host.station.passes.station import Station
from firmware_host.station.progress import PassingOn, Progress, SilentProgress
from firmware_host.station.run import run_job
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.settings.known_scale import KnownScales
from firmware_host.station.settings.write import backup_path, write_for_plan
from firmware_host.station.stop_request import StopRequest

_PASS_S = 1.0

Announce = Callable[[str, tuple[Difference, ...]], None]


@dataclass(frozen=True)
class SimulatedRun:
    """A run that is over. `counters`: the motor's step counter at each segment's standstill, from the job's zero."""

    record: RunRecord
    counters: Mapping[int, int]

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
    stop: StopRequest | None = None,
    announce: Announce = lambda url, before: None,
) -> SimulatedRun:
    """Serve a board as delivered, write the settings that the plan asks for, and run the job, each pass `pass_s` (s).

    The run folder and all notes go below `home`. `announce` is told the board's URL and the settings that did not fit,
    before anything moves; `stop` may be asked to end it. Nothing real moves. Raises as `write_for_plan` and `run_job`.
    """
    machine = setup.machine
    with ExitStack() as stack:
        board = simulated_device(machine, delivered=True, start_s=clock.monotonic())
        server = stack.enter_context(serve(board, clock))
        folder = RunFolder.create(home, setup.job.name, clock.now())
        trace = FileTrace(folder.trace, clock)
        stack.callback(trace.close)
        stop = stop or StopRequest()
        controller = open_controller(machine, server.url, clock, trace, lock_folder=home / "locks", check=stop.check)
        stack.callback(controller.close)
        scales = KnownScales(home / "controllers")
        backup = backup_path(home / "backups", server.url, clock)
        announce(server.url, write_for_plan(machine, plan, controller, scales, backup))
        operator = _NobodyThere()
        counting = _Counting(progress or SilentProgress(), lambda: server.steps_at(machine.axis.letter))
        gate = TimedGate(GateContext(clock, operator), pass_s)
        station = Station(
            controller, gate, clock, folder, scales, operator, progress=counting, control=RunControl(stop)
        )
        return SimulatedRun(run_job(setup, plan, station), counting.counters)


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


class _NobodyThere(Operator):
    """The simulation needs nobody at the machine."""

    def tell(self, text: str) -> None:
        pass

    def answer(self) -> str | None:
        return None

    def forget(self) -> None:
        pass
