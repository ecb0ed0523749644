"""`time`: how long a job takes, and when it would be done."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from firmware_host.cli.input.arguments import JobArgument, JsonOption
from firmware_host.cli.input.planned import planned, read
from firmware_host.cli.input.quantities import si_value
from firmware_host.cli.screen import documents, output
from firmware_host.clock import SystemClock
from firmware_host.planning.job_time import job_time
from firmware_host.reporting.plans.time import time_document
from firmware_host.station.runs.pass_times import pass_time


def time(
    job: JobArgument,
    of_pass: Annotated[
        str, typer.Option("--pass", metavar="TIME", help='What one pass takes, such as "12 s" (else: learned).')
    ] = "",
    runs: Annotated[Path, typer.Option(metavar="FOLDER", help="Where run folders are.")] = Path("runs"),
    json: JsonOption = False,
) -> None:
    """Print the times of the plan, and of the marking as far as it is known."""
    given_s = si_value(of_pass, "time", "--pass")
    setup = read(job)
    plan = planned(setup)
    found, now = pass_time(setup, runs, given_s), SystemClock().now().astimezone()
    document = time_document(job_time(setup, plan), found, now, homes=setup.machine.axis.home_switch)
    documents.show(document, json=json, remarks=setup.remarks)
    if found.pass_s is None:
        output.remark('Say what one pass takes, such as --pass "12 s", or let it be learned from the first run.')


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(time)
