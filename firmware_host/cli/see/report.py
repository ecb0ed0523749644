"""`report`: a job, a run, a batch or a commissioning as one HTML or PDF file to read, print and keep."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from firmware_host.cli.input.arguments import JsonOption, UnitsOption
from firmware_host.cli.input.planned import planned, read
from firmware_host.cli.screen import documents
from firmware_host.clock import SystemClock
from firmware_host.commissioning.record import read_record
from firmware_host.errors import InputError
from firmware_host.model.files.loading import load_motor
from firmware_host.model.files.profiles import list_profiles
from firmware_host.reporting.document import Document, Figure, Notes
from firmware_host.reporting.measures import Units
from firmware_host.reporting.report.commissioning import commissioning_report
from firmware_host.reporting.report.of_job import job_report
from firmware_host.reporting.report.of_record import batch_report, run_report
from firmware_host.reporting.report.page import Paper, report_page
from firmware_host.reporting.report.pdf import report_pdf
from firmware_host.reporting.report.report import Report
from firmware_host.station.batch.folder import BatchFolder
from firmware_host.station.runs.folder import RunFolder, is_batch
from firmware_host.system.files import write_whole


def report(
    of: Annotated[
        str,
        typer.Argument(
            metavar="JOB|RUN|BATCH|RECORD",
            help="A job; the folder of a run or a batch; the file of a commissioning record (.jsonl).",
        ),
    ],
    output_file: Annotated[Path, typer.Option("--output", metavar="FILE", help="Where it is written: .html or .pdf.")],
    paper: Annotated[
        Paper | None, typer.Option(help="What it is printed on (of a PDF: A4 unless you say otherwise).")
    ] = None,
    units: UnitsOption = Units.METRIC,
    json: JsonOption = False,
) -> None:
    """Write a report: what was asked, the answer, cautions, pictures, and all that they rest on."""
    kind = output_file.suffix.lower()
    if kind not in (".html", ".htm", ".pdf"):
        fix = "End its name in .html or .pdf"
        raise InputError("a report is an HTML or a PDF file", fix, str(output_file), key="--output")
    if not output_file.parent.is_dir():
        raise InputError("is no folder", "Name a folder that is there", str(output_file.parent), key="--output")
    clock = SystemClock()
    made = _of(of, clock.now(), units)
    page = report_page(made, units, paper or (Paper.A4 if kind == ".pdf" else None))
    try:
        write_whole(output_file, report_pdf(page, clock) if kind == ".pdf" else page)
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", "See its folder", str(output_file)) from error
    documents.show(_told(made, output_file), json=json)


def _of(of: str, now: datetime, units: Units) -> Report:
    path = Path(of)
    if path.is_dir():
        return (
            batch_report(BatchFolder.existing(path), now, units)
            if is_batch(path)
            else run_report(RunFolder.existing(path), now, units)
        )
    if path.suffix == ".jsonl":
        return commissioning_report(path, read_record(path), now)
    setup = read(of)
    motors = {each.name: load_motor(str(each.path)) for each in list_profiles("motors") if each.shipped}
    return job_report(setup, now, motors, units=units, plan=planned(setup))


def _told(made: Report, path: Path) -> Document:
    return Document(
        (
            Figure("report", "Report", made.title),
            Figure("file", "Written to", str(path), brief=True),
            Notes(made.answer, "answer"),
        )
    )


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(report)
