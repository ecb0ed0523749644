"""`picture`: a job as a drawing, written to a file."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from firmware_host.cli.input.arguments import JobArgument, JsonOption
from firmware_host.cli.input.planned import planned, read
from firmware_host.cli.screen import documents
from firmware_host.errors import InputError
from firmware_host.planning.load.case import load_case
from firmware_host.reporting.pictures.drawn import save_picture
from firmware_host.reporting.pictures.picture import Subject
from firmware_host.reporting.pictures.registry import PICTURES, picture_named
from firmware_host.reporting.pictures.told import drawn_document, pictures_document


def picture(
    job: JobArgument,
    what: Annotated[str, typer.Argument(metavar="[WHAT]", help="Which picture; left out, those that there are.")] = "",
    output_file: Annotated[
        Path | None, typer.Option("--output", metavar="FILE", help="Where it is written: .svg, .png or .pdf.")
    ] = None,
    json: JsonOption = False,
) -> None:
    """Draw a picture of a job into a file; without one, list what can be drawn."""
    wanted = picture_named(what) if what else None
    if wanted is not None and output_file is None:
        raise InputError("nobody said where the picture goes", f"Add --output {wanted.key}.svg", key="--output")
    if wanted is None and output_file is not None:
        raise InputError(
            "nobody said which picture", f"Name one: {', '.join(each.key for each in PICTURES)}", key="WHAT"
        )
    setup = read(job)
    of = Subject(setup, planned(setup), load_case(setup.machine, setup.job))
    if wanted is None or output_file is None:
        documents.show(pictures_document(PICTURES, of), json=json, remarks=setup.remarks)
        return
    documents.show(drawn_document(save_picture(wanted, of, output_file), output_file), json=json, remarks=setup.remarks)


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(picture)
