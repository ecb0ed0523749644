"""`preview`: the mark of a job as it will look, and as a wrong number makes it look."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from firmware_host.cli.input.arguments import JobArgument, JsonOption
from firmware_host.cli.input.planned import planned, read
from firmware_host.cli.screen import documents
from firmware_host.errors import InputError
from firmware_host.planning.preview.wrong import AS_PLANNED, WRONG_NUMBERS, wrong_named
from firmware_host.reporting.pictures.drawn import save_picture
from firmware_host.reporting.pictures.of_job.preview import Preview, WrongNumbers
from firmware_host.reporting.pictures.picture import Subject
from firmware_host.reporting.pictures.told import drawn_document

_KNOWN = ", ".join(each.key for each in WRONG_NUMBERS)


def preview(
    job: JobArgument,
    output_file: Annotated[
        Path, typer.Option("--output", metavar="FILE", help="Where it is written: .svg, .png or .pdf.")
    ],
    wrong: Annotated[str, typer.Option(metavar="WHAT", help=f"Draw it with this wrong: {_KNOWN}.")] = "",
    side_by_side: Annotated[
        bool, typer.Option("--side-by-side", help="Draw it as planned, and beside it with each thing wrong.")
    ] = False,
    json: JsonOption = False,
) -> None:
    """Draw the surface of the part as it will be marked, into a file."""
    if wrong and side_by_side:
        raise InputError("--wrong and --side-by-side contradict each other", "Give one of them", key="--side-by-side")
    picture = WrongNumbers() if side_by_side else Preview(wrong_named(wrong) if wrong else AS_PLANNED)
    setup = read(job)
    of = Subject.of(setup, planned(setup))
    documents.show(
        drawn_document(save_picture(picture, of, output_file), output_file), json=json, remarks=setup.remarks
    )


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(preview)
