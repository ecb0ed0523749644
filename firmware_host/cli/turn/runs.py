"""`runs`: earlier runs, how they stand, and whether their files agree."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from firmware_host.acts import VerifyRun
from firmware_host.cli.input.arguments import JsonOption
from firmware_host.cli.screen import documents, output
from firmware_host.cli.screen.advice import advice_lines
from firmware_host.errors import EXIT_CHECK_FAILED
from firmware_host.reporting.runs.batch import batch_document
from firmware_host.reporting.runs.run import run_document
from firmware_host.reporting.runs.runs import findings_document, runs_document
from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.batch.listing import list_batches, listed_batch, verify_batch
from firmware_host.station.runs.folder import RunFolder, is_batch
from firmware_host.station.runs.listing import list_runs, read_record
from firmware_host.station.runs.status import run_status_if_readable
from firmware_host.station.runs.verify import verify_run

runs_app = typer.Typer(no_args_is_help=True)

RunArgument = Annotated[Path, typer.Argument(metavar="RUN", help="The folder of a run or a batch.")]


@runs_app.command("list")
def list_command(
    runs: Annotated[Path, typer.Option(metavar="FOLDER", help="Where run folders are.")] = Path("runs"),
    json: JsonOption = False,
) -> None:
    """List all runs and batches, oldest first; those of a batch's parts behind it."""
    batches = list_batches(runs)
    documents.show(runs_document(list_runs(runs), {each: list_runs(each.path) for each in batches}), json=json)


@runs_app.command("show")
def show_command(run: RunArgument, json: JsonOption = False) -> None:
    """Show the passes of a run, or the parts of a batch, how it stands, and how to resume it."""
    if is_batch(run):
        documents.show(batch_document(listed_batch(run)), json=json)
        return
    folder = RunFolder.existing(run)
    record, found = read_record(folder), run_status_if_readable(folder)
    documents.show(run_document(record, status=found), json=json)
    if found is None and not json:
        output.lines(["Its files contradict each other.", *advice_lines((VerifyRun(str(run)),))])


@runs_app.command("verify")
def verify_command(run: RunArgument, json: JsonOption = False) -> None:
    """Check that journal, setup and record of a run, or of a batch and its parts, agree; status 1 if they do not."""
    findings = verify_batch(BatchFolder.existing(run)) if is_batch(run) else verify_run(RunFolder.existing(run))
    documents.show(findings_document(findings), json=json)
    if not all(finding.holds for finding in findings):
        raise typer.Exit(EXIT_CHECK_FAILED)


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.add_typer(runs_app, name="runs")
