"""`demo`: a whole job on a simulated controller, over a real connection, at a quickened clock."""

from __future__ import annotations

import tempfile
from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer

from firmware_host.cli.input.planned import planned, read
from firmware_host.cli.screen import documents, output
from firmware_host.cli.screen.run_progress import RunProgress
from firmware_host.cli.turn.simulated_run import run_simulated
from firmware_host.clock import ScaledClock
from firmware_host.controller.stored_settings import Difference
from firmware_host.errors import EXIT_CHECK_FAILED
from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan
from firmware_host.reporting.plans.limits import limits_document
from firmware_host.reporting.plans.segments import segments_document
from firmware_host.reporting.runs.run import run_document
from firmware_host.station.run import require_limits
from firmware_host.station.stop_request import StopRequest


def demo(
    job: Annotated[str, typer.Argument(metavar="JOB", help="A job file or profile.")] = "shaft-scale",
    clock_factor: Annotated[
        float, typer.Option("--clock", min=0.1, max=1000, help="How many times faster than real time.")
    ] = 5,
    keep: Annotated[Path | None, typer.Option(metavar="FOLDER", help="Keep the run folder here.")] = None,
) -> None:
    """Print the plan, run it, print what happened; ends with status 1 if the motor's steps are not the plan's."""
    setup = read(job)
    plan = planned(setup)
    _show_plan(setup, plan)
    require_limits(plan.limits)
    with ExitStack() as stack:
        home = keep or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="circumstep-demo-")))
        progress = stack.enter_context(RunProgress())
        stop, clock = StopRequest(), ScaledClock(clock_factor)
        stack.enter_context(stop.on_signals())
        done = run_simulated(setup, plan, home, clock, progress=progress, stop=stop, announce=_show_board)
    documents.show(run_document(done.record, done.counters))
    passes, wrong = len(done.record.passes), done.off_plan
    output.lines(
        [
            f"{done.record.outcome}: {done.record.done} of {passes} passes marked; the motor's step counter is the "
            f"plan's at {passes - wrong} of {passes} passes.",
            *([f"Run folder: {keep}"] if keep is not None else []),
        ]
    )
    if wrong or done.record.done != passes:
        raise typer.Exit(EXIT_CHECK_FAILED)


def _show_plan(setup: Setup, plan: JobPlan) -> None:
    output.lines([f"Job: {setup.job.name}. Machine: {setup.machine.name}."])
    documents.show(segments_document(plan.layout))
    documents.show(limits_document(plan.limits))


def _show_board(url: str, before: tuple[Difference, ...]) -> None:
    output.lines([f"Simulated controller at {url}; {len(before)} of its settings were written."])
    output.lines(f"  {difference}" for difference in before)


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(demo)
