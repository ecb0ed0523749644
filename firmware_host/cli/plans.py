"""`segments`, `moves`: the plan of a job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from pydantic_core import PydanticCustomError

from firmware_host.cli.input.arguments import JobArgument, JsonOption
from firmware_host.cli.input.planned import laid_out, planned, read
from firmware_host.cli.screen import documents, output
from firmware_host.errors import InputError, QuantityError
from firmware_host.planning.layout.seams import TrueSizes
from firmware_host.reporting.export.registry import FORMATS, move_format
from firmware_host.reporting.moves import moves_document
from firmware_host.reporting.segments import segments_document
from firmware_host.system.files import write_whole
from firmware_host.units import parse_quantity

_TABLE = "table"
"""Shown, never saved."""

_FORMATS = ", ".join((_TABLE, *(each.name for each in FORMATS)))


def segments(
    job: JobArgument,
    json: JsonOption = False,
    true_diameter: Annotated[
        str, typer.Option(metavar="LENGTH", help="Predict the seams for a part of this true diameter.")
    ] = "",
    true_roller: Annotated[
        str, typer.Option(metavar="LENGTH", help="Predict the seams for rollers of this true diameter.")
    ] = "",
) -> None:
    """Print the layout; the true diameters only change what is predicted of the seams."""
    true = TrueSizes(_length(true_diameter, "--true-diameter"), _length(true_roller, "--true-roller"))
    setup = read(job)
    if true.roller_diameter is not None and setup.machine.drive.sets_surface_travel != "roller":
        problem = f"machine {setup.job.machine!r} has no rollers"
        raise InputError(problem, "Leave it out, or give --true-diameter", key="--true-roller")
    plan = laid_out(setup, true)
    documents.show(segments_document(plan), json=json, remarks=setup.remarks)


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


def _length(text: str, option: str) -> float | None:
    if not text:
        return None
    try:
        return parse_quantity(text, "length", "positive").si
    except PydanticCustomError as error:
        context = error.context or {}
        raise QuantityError(str(context.get("problem")), str(context.get("remedy")), key=option) from error


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    for command in (segments, moves):
        app.command()(command)
