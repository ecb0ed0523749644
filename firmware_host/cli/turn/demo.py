"""`demo`: a whole job on a simulated controller, over a real connection, at a quickened clock."""

from __future__ import annotations

import tempfile
from contextlib import ExitStack
from pathlib import Path
from typing import Annotated

import typer

from firmware_host.cli.input.arguments import DetailsOption, UnitsOption
from firmware_host.cli.input.planned import planned, read
from firmware_host.cli.screen import documents, output
from firmware_host.cli.screen.run_progress import RunProgress
from firmware_host.cli.turn.shared import PageOption, PagePortOption, port_of_page, show_page
from firmware_host.cli.turn.simulated_run import NobodyThere, run_simulated
from firmware_host.clock import ScaledClock, SystemClock
from firmware_host.controller.stored_settings import Difference
from firmware_host.errors import EXIT_CHECK_FAILED
from firmware_host.reporting.measures import Units
from firmware_host.reporting.plans.first.plan import plan_document
from firmware_host.reporting.plans.limits import limits_document
from firmware_host.reporting.plans.segments import segments_document
from firmware_host.reporting.runs.run import run_document
from firmware_host.station.passes.control import RunControl
from firmware_host.station.progress import Progress
from firmware_host.station.run import require_limits
from firmware_host.station.state.publisher import publishing_state


def demo(
    job: Annotated[str, typer.Argument(metavar="JOB", help="A job file or profile.")] = "shaft-scale",
    clock_factor: Annotated[
        float, typer.Option("--clock", min=0.1, max=1000, help="How many times faster than real time.")
    ] = 5,
    keep: Annotated[Path | None, typer.Option(metavar="FOLDER", help="Keep the run folder here.")] = None,
    page: PageOption = False,
    page_port: PagePortOption = None,
    details: DetailsOption = False,
    units: UnitsOption = Units.METRIC,
) -> None:
    """Print the plan, run it, print what happened; ends with status 1 if the motor's steps are not the plan's."""
    setup = read(job)
    plan = planned(setup)
    documents.show(plan_document(setup, plan, units))
    if details:
        documents.show(segments_document(plan.layout, units), details=True, units=units)
        documents.show(limits_document(plan.limits, units=units), details=True, units=units)
    require_limits(plan.limits)
    board = _Board()
    with ExitStack() as stack:
        home = keep or Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="circumstep-demo-")))
        progress: Progress = stack.enter_context(RunProgress())
        control, clock = RunControl(), ScaledClock(clock_factor)
        stack.enter_context(control.stop.on_signals())
        if (port := port_of_page(page, page_port)) is not None:
            shown = show_page(stack, control, NobodyThere(), progress, port)
            told = publishing_state((shown.outlet,), setup.job.name, SystemClock(), shown.progress)
            progress = stack.enter_context(told)
        done = run_simulated(setup, plan, home, clock, progress=progress, control=control, announce=board.announce)
    documents.show(run_document(done.record, done.counters), details=details, units=units)
    board.show()
    if keep is not None:
        output.lines([f"Run folder: {keep}"])
    if done.off_plan or done.record.done != len(done.record.passes):
        raise typer.Exit(EXIT_CHECK_FAILED)


class _Board:
    """The simulated controller: where it was, and which of its settings were written."""

    def __init__(self) -> None:
        self._url, self._before = "", tuple[Difference, ...]()

    def announce(self, url: str, before: tuple[Difference, ...]) -> None:
        """It is about to run."""
        self._url, self._before = url, before

    def show(self) -> None:
        """Print it."""
        output.lines([f"Simulated controller at {self._url}; {len(self._before)} of its settings were written."])
        output.lines(f"  {difference}" for difference in self._before)


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(demo)
