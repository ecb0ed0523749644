"""`moves`: the moves of a job, shown or exported."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from firmware_host.cli.input.arguments import JobArgument, JsonOption
from firmware_host.cli.input.planned import planned, read
from firmware_host.cli.screen import documents, output
from firmware_host.errors import InputError
from firmware_host.reporting.export.registry import FORMATS, move_format
from firmware_host.reporting.plans.moves import moves_document
from firmware_host.system.files import write_whole

_TABLE = "table"
"""Shown, never saved."""

_FORMATS = ", ".join((_TABLE, *(each.name for each in FORMATS)))


def moves(
    job: JobArgument,
    json: JsonOption = False,
    format: Annotated[str, typer.Option(metavar="FORMAT", help=f"What to write: {_FORMATS}.")] = _TABLE,
    output_file: Annotated[
        Path | None, typer.Option("--output", metavar="FILE", help="Write to this file instead of standard output.")
    ] = None,
) -> None:
    """Print or save the move program; a file is written whole or not at all."""
    if json and format not in (_TABLE, "json"):
        raise InputError(f"--json and --format {format} contradict each other", "Give one of them")
    writer = None if format == _TABLE and not json else move_format("json" if json else format)
    if output_file is not None and writer is None:
        others = ", ".join(each.name for each in FORMATS)
        raise InputError("the table is only shown, never saved", f"Add --format with one of {others}", key="--output")
    setup = read(job)
    plan = planned(setup)
    if writer is None or (json and output_file is None):
        documents.show(moves_document(plan.program, setup.machine), json=json, remarks=setup.remarks)
        return
    text = writer.text(setup, plan)
    if output_file is None:
        output.exact(text)
    else:
        _save(output_file, text)


def _save(path: Path, text: str) -> None:
    try:
        write_whole(path, text)
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", "Name another file", source=str(path)) from error


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(moves)
