"""`runs`: earlier runs, how they stand, and whether their files agree."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Any

import typer

from firmware_host.cli.input.arguments import JsonOption
from firmware_host.cli.screen import documents, output
from firmware_host.cli.screen.advice import advice_lines
from firmware_host.cli.screen.run_status import status_lines
from firmware_host.errors import EXIT_CHECK_FAILED
from firmware_host.reporting.run import run_document
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.listing import ListedRun, list_runs, read_record
from firmware_host.station.runs.status import run_status_if_readable
from firmware_host.station.runs.verify import verify_run

runs_app = typer.Typer(no_args_is_help=True)

_UNSOUND = ("Its files contradict each other: circumstep runs verify says where.",)

RunArgument = Annotated[Path, typer.Argument(metavar="RUN", help="The folder of a run.")]


@runs_app.command("list")
def list_command(
    runs: Annotated[Path, typer.Option(metavar="FOLDER", help="Where run folders are.")] = Path("runs"),
    json: JsonOption = False,
) -> None:
    """List all runs, oldest first."""
    entries = [_entry(run) for run in list_runs(runs)]
    if json:
        output.document(entries)
        return
    output.lines(_line(entry) for entry in entries)


@runs_app.command("show")
def show_command(run: RunArgument, json: JsonOption = False) -> None:
    """Show the passes of a run, how it stands, and how to resume it."""
    folder = RunFolder.existing(run)
    record = read_record(folder)
    if json:
        typer.echo(record.to_json(), nl=False)
        return
    documents.show(run_document(record))
    because = f" ({record.reason})" if record.reason else ""
    found = run_status_if_readable(folder)
    state = record.outcome if found is None else found.state
    output.lines(
        [
            f"{record.job}, on {record.machine}; began {record.started}, last line {record.ended}",
            f"{state}{because}: {record.done} of {len(record.passes)} passes {record.passes_word}",
            *(_UNSOUND if found is None else (*status_lines(found), *advice_lines(found.acts))),
        ]
    )


@runs_app.command("verify")
def verify_command(run: RunArgument, json: JsonOption = False) -> None:
    """Check that a run's journal, setup and record agree; status 1 if they do not."""
    findings = verify_run(RunFolder.existing(run))
    if json:
        output.document([asdict(finding) for finding in findings])
    else:
        output.lines(f"{f.name:8} {'holds' if f.holds else 'DOES NOT HOLD'}: {f.detail}" for f in findings)
    if not all(finding.holds for finding in findings):
        raise typer.Exit(EXIT_CHECK_FAILED)


def _entry(run: ListedRun) -> dict[str, Any]:
    """What the list shows of one run; one that can't be read says why."""
    told = {"reason": run.problem} if run.record is None else _told(run.record)
    return {"run": str(run.path), "outcome": run.state, **told}


def _told(record: RunRecord) -> dict[str, Any]:
    return {
        "reason": record.reason,
        "job": record.job,
        "machine": record.machine,
        "started": record.started,
        "ended": record.ended,
        "done": record.done,
        "passes": len(record.passes),
        "marking": record.marking,
    }


def _line(entry: dict[str, Any]) -> str:
    if entry["outcome"] == "unreadable":
        return f"{entry['run']}  unreadable: {entry['reason']}"
    because = f" ({entry['reason']})" if entry["reason"] else ""
    dry = "" if entry["marking"] else ", without marking"
    return f"{entry['run']}  {entry['outcome']:8} {entry['done']:>4}/{entry['passes']:<4} {entry['job']}{dry}{because}"


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.add_typer(runs_app, name="runs")
