"""`run` and `resume`: a job on a real (or simulated) machine."""

from __future__ import annotations

import shlex
from collections.abc import Callable
from contextlib import ExitStack
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from firmware_host.cli.input.arguments import AcceptOption, BaudOption, JobArgument, JsonOption, PortOption
from firmware_host.cli.input.planned import loaded, planned
from firmware_host.cli.screen import documents, output
from firmware_host.cli.screen.advice import completing_acts
from firmware_host.cli.screen.run_progress import RunProgress
from firmware_host.cli.screen.run_status import showing_run_status
from firmware_host.clock import SystemClock
from firmware_host.errors import RunStoppedError
from firmware_host.model import Setup
from firmware_host.planning.limits.accept import read_accepted
from firmware_host.reporting.run import run_document
from firmware_host.station.gates.dry import DryGate
from firmware_host.station.journal.events import Zero
from firmware_host.station.journal.record import PassRecord, RunRecord
from firmware_host.station.opened import station_in
from firmware_host.station.opening import port_of
from firmware_host.station.operator import TerminalOperator
from firmware_host.station.reopened import port_of_run
from firmware_host.station.resume import resume_run
from firmware_host.station.run import Station, require_limits, run_job
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.settings.known_scale import state_folder
from firmware_host.station.settings.write import backup_path, write_for_plan

_DRY_PASS_S = 0.5

ProgramOption = Annotated[
    str,
    typer.Option("--gate-program", metavar="COMMAND", help="Program for the job's command gate; no shell is used."),
]
DryOption = Annotated[
    bool,
    typer.Option(
        "--without-marking", help="Turn the part as planned without marking, with a short pause for each pass."
    ),
]
ReleaseOption = Annotated[
    bool,
    typer.Option(
        "--release-motor",
        help="Release the motor if the run ends early and the axis stands still: the part can then turn by itself, and "
        "its position is lost.",
    ),
]


class Assume(StrEnum):
    """How to treat a pass that was interrupted."""

    DONE = "done"
    NOT_DONE = "not-done"


def run(
    job: JobArgument,
    port: PortOption = "",
    baud: BaudOption = None,
    accept_limit: AcceptOption = None,
    write_settings: Annotated[
        bool,
        typer.Option("--write-settings", help="First write the settings that the plan needs; the old ones are kept."),
    ] = False,
    gate_program: ProgramOption = "",
    without_marking: DryOption = False,
    release_motor: ReleaseOption = False,
    runs: Annotated[Path, typer.Option(metavar="FOLDER", help="Where run folders are made.")] = Path("runs"),
    json: JsonOption = False,
) -> None:
    """Plan, require the limits, open the station, run, print the record."""
    setup = loaded(job, accept_limit)
    plan = planned(setup)
    require_limits(plan.limits)
    clock = SystemClock()
    url = port_of(setup.machine, port)
    folder = RunFolder.create(runs, setup.job.name, clock.now())
    accepted = tuple(accept_limit or ())
    called_with = {"job": job, "machine": setup.machine_source, "port": url}
    with completing_acts(**called_with, accepted=accepted), showing_run_status(folder, json=json), ExitStack() as stack:
        stack.callback(folder.drop_unused)
        station = _station(
            stack,
            setup,
            folder,
            url,
            baud,
            gate_program,
            without_marking=without_marking,
            release_motor=release_motor,
        )
        if write_settings:
            backup = backup_path(state_folder() / "backups", url, clock)
            write_for_plan(
                setup.machine, plan, station.controller, station.scales, backup, announce=output.announce_backup
            )
            output.remark("settings written and read back")
        record = run_job(setup, plan, station)
    _show(record, folder, setup, json=json)


def resume(
    folder: Annotated[Path, typer.Argument(metavar="RUN", help="The folder of a run that was stopped or crashed.")],
    port: PortOption = "",
    baud: BaudOption = None,
    assume: Annotated[
        Assume | None, typer.Option(help="Treat interrupted passes as done or not-done, without asking.")
    ] = None,
    zero: Annotated[
        Zero, typer.Option(help="as-left: the part has not moved; set-anew: you turned it to the job's zero by hand.")
    ] = Zero.AS_LEFT,
    accept_limit: AcceptOption = None,
    gate_program: ProgramOption = "",
    without_marking: DryOption = False,
    release_motor: ReleaseOption = False,
    json: JsonOption = False,
) -> None:
    """Open the station of the run's own setup and port, resume it, print the record."""
    read_accepted(accept_limit or (), key="--accept-limit")
    run_folder = RunFolder.existing(folder)
    setup = run_folder.load_setup()
    url = port_of_run(run_folder, setup, port)
    called_with = {"run": str(folder), "job": setup.job_source, "machine": setup.machine_source, "port": url}
    with completing_acts(**called_with), showing_run_status(run_folder, json=json), ExitStack() as stack:
        station = _station(
            stack,
            setup,
            run_folder,
            url,
            baud,
            gate_program,
            without_marking=without_marking,
            release_motor=release_motor,
            drop_held_motion=True,
        )
        ask = _asking(assume, station)
        record = resume_run(station, ask=ask, zero=zero, accept_limits=accept_limit or ())
    _show(record, run_folder, setup, json=json)


def _station(
    stack: ExitStack,
    setup: Setup,
    folder: RunFolder,
    url: str,
    baud: int | None,
    gate_program: str,
    *,
    without_marking: bool,
    release_motor: bool,
    drop_held_motion: bool = False,
) -> Station:
    """Everything a run works with, closed again by `stack`; Ctrl-C and the like ask for a stop."""
    station = stack.enter_context(
        station_in(
            folder,
            setup,
            url,
            SystemClock(),
            operator=TerminalOperator(),
            gate=(lambda context: DryGate(context, _DRY_PASS_S)) if without_marking else None,
            gate_program=tuple(shlex.split(gate_program)),
            progress=stack.enter_context(RunProgress(marking=not without_marking)),
            baud=baud,
            drop_held_motion=drop_held_motion,
            release_motor=release_motor,
        )
    )
    stack.enter_context(station.stop.on_signals())
    return station


def _asking(assume: Assume | None, station: Station) -> Callable[[PassRecord], bool]:
    """How to learn whether a pass was finished: the option, else the person at the terminal."""
    if assume is not None:
        return lambda entry: assume is Assume.DONE

    def ask(entry: PassRecord) -> bool:
        operator = station.operator
        operator.tell(
            f"Was segment {entry.segment}, pass {entry.number} finished? Look at the part: y or n, then Enter."
        )
        while (answer := (operator.answer() or "").lower()) not in {"y", "yes", "n", "no"}:
            if answer:
                operator.tell(f"{answer[:20]!r} is not an answer: press y or n, then Enter.")
            if station.stop.reason is not None:
                raise RunStoppedError(station.stop.reason, str(station.folder.path))
            station.clock.sleep(0.05)
        return answer.startswith("y")

    return ask


def _show(record: RunRecord, folder: RunFolder, setup: Setup, *, json: bool) -> None:
    documents.show(run_document(record, accept=setup.job.accept), json=json)
    if not json:
        output.lines([f"Record: {folder.record}"])


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    for command in (run, resume):
        app.command()(command)
