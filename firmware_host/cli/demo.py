"""`demo`: a whole job on a simulated controller, over a real serial connection, at a quickened clock."""

from __future__ import annotations

import tempfile
from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer

from firmware_host.cli import output
from firmware_host.cli.planned import planned
from firmware_host.cli.run_progress import RunProgress
from firmware_host.cli.simulated import simulated_device
from firmware_host.clock import Clock, ScaledClock
from firmware_host.controller.trace import FileTrace
from firmware_host.errors import EXIT_CHECK_FAILED
from firmware_host.model import Machine, Setup, load_job
from firmware_host.planning.plan import JobPlan
from firmware_host.planning.segment_choice import explain_choice
from firmware_host.reporting.tables import limit_lines, limit_table, run_table, seam_lines, segment_table
from firmware_host.simulator.server import DeviceServer
from firmware_host.simulator.serving import serve
from firmware_host.station.gate import GateContext
from firmware_host.station.gate_timed import TimedGate
from firmware_host.station.known_scale import KnownScales
from firmware_host.station.opening import open_controller
from firmware_host.station.operator import Operator
from firmware_host.station.record import RunRecord
from firmware_host.station.run import Station, require_limits, run_job
from firmware_host.station.run_folder import RunFolder
from firmware_host.station.settings_write import backup_path, write_for_plan

_PASS_S = 1.0


class _CountingProgress(RunProgress):
    """Reads the simulated motor's own step counter at the job's zero and at each rest."""

    def __init__(self, server: DeviceServer, letter: str) -> None:
        super().__init__()
        self._server, self._letter, self._origin = server, letter, 0
        self.counters: dict[int, int] = {}

    def zero(self, origin_steps: int) -> None:
        self._origin = self._server.steps_at(self._letter)

    def rest(self, segment: int, planned: int, reported: float) -> None:
        self.counters[segment] = self._server.steps_at(self._letter) - self._origin


class _NobodyThere(Operator):
    """The demonstration needs nobody at the machine."""

    def tell(self, text: str) -> None:
        pass

    def answer(self) -> str | None:
        return None

    def forget(self) -> None:
        pass


def demo(
    job: Annotated[str, typer.Argument(metavar="JOB", help="A job file or profile.")] = "shaft-scale",
    clock_factor: Annotated[float, typer.Option("--clock", min=0.1, max=1000, help="How much quicker than real.")] = 5,
    keep: Annotated[Path | None, typer.Option(metavar="FOLDER", help="Keep the run folder there.")] = None,
) -> None:
    """Plan a job, check it, turn it and "mark" it pass by pass on a simulated controller. Nothing real moves."""
    setup = load_job(job)
    plan = planned(setup)
    _show_plan(setup, plan)
    require_limits(plan.limits)
    with ExitStack() as stack:
        home = keep or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="circumstep-demo-")))
        record, counters = _run(stack, setup, plan, ScaledClock(clock_factor), home)
    output.show(run_table(record, counters))
    wrong = [entry for entry in record.passes if counters.get(entry.segment) != entry.planned_microstep]
    rests = len(record.passes)
    output.lines(
        [
            f"{record.outcome}: {record.done} of {rests} passes marked; the motor's step counter is the plan's at "
            f"{rests - len(wrong)} of {rests} passes.",
            *([f"Run folder: {keep}"] if keep is not None else []),
        ]
    )
    if wrong or record.done != rests:
        raise typer.Exit(EXIT_CHECK_FAILED)


def _show_plan(setup: Setup, plan: JobPlan) -> None:
    output.lines([f"Job: {setup.job.name}. Machine: {setup.machine.name}."])
    output.lines(explain_choice(plan.segments).sentences)
    output.show(segment_table(plan.layout))
    output.lines(seam_lines(plan.seams))
    output.show(limit_table(plan.limits))
    output.lines(limit_lines(plan.limits))


def _run(stack: ExitStack, setup: Setup, plan: JobPlan, clock: Clock, home: Path) -> tuple[RunRecord, dict[int, int]]:
    """Serve a board as delivered, write the settings, run the job; returns the record and the counter at each rest."""
    machine = setup.machine
    server = stack.enter_context(_board(machine, clock))
    folder = RunFolder.create(home, setup.job.name, clock.now())
    trace = FileTrace(folder.trace, clock)
    stack.callback(trace.close)
    controller = open_controller(machine, server.url, clock, trace, lock_folder=home / "locks")
    stack.callback(controller.close)
    scales = KnownScales(home / "controllers")
    backup = backup_path(home / "backups", server.url, clock)
    before = write_for_plan(machine, plan, controller, scales, backup)
    output.lines([f"Simulated controller at {server.url}; {len(before)} of its settings did not fit and were written."])
    output.lines(f"  {difference}" for difference in before)
    operator = _NobodyThere()
    progress = stack.enter_context(_CountingProgress(server, machine.axis.letter))
    station = Station(
        controller=controller,
        gate=TimedGate(GateContext(clock, operator), _PASS_S),
        clock=clock,
        folder=folder,
        scales=scales,
        operator=operator,
        progress=progress,
    )
    stack.enter_context(station.stop.on_signals())
    record = run_job(setup, plan, station)
    return record, progress.counters


def _board(machine: Machine, clock: Clock) -> DeviceServer:
    return serve(simulated_device(machine, delivered=True, start_s=clock.monotonic()), clock)


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(demo)
