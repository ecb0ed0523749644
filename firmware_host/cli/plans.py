"""`segments`, `moves`: the plan of a job."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer
from pydantic_core import PydanticCustomError

from firmware_host.cli.input.arguments import JobArgument, JsonOption
from firmware_host.cli.input.planned import laid_out, planned
from firmware_host.cli.screen import documents, output
from firmware_host.errors import InputError, QuantityError
from firmware_host.model import Setup, load_job
from firmware_host.planning.export.rs274 import rs274_lines
from firmware_host.planning.layout.seams import TrueSizes
from firmware_host.planning.plan import JobPlan
from firmware_host.reporting.moves import moves_document
from firmware_host.reporting.render.csv import csv_text
from firmware_host.reporting.render.json import json_document
from firmware_host.reporting.segments import segments_document
from firmware_host.system.files import write_whole
from firmware_host.units import parse_quantity


class MoveFormat(StrEnum):
    """How `moves` writes the program."""

    TABLE = "table"
    RS274 = "rs274"
    CSV = "csv"
    JSON = "json"


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
    setup = load_job(job)
    if true.roller_diameter is not None and setup.machine.drive.sets_surface_travel != "roller":
        problem = f"machine {setup.job.machine!r} has no rollers"
        raise InputError(problem, "Leave it out, or give --true-diameter", key="--true-roller")
    plan = laid_out(setup, true)
    documents.show(segments_document(plan), json=json)


def moves(
    job: JobArgument,
    json: JsonOption = False,
    format: Annotated[MoveFormat, typer.Option(help="What to write.")] = MoveFormat.TABLE,
    output_file: Annotated[
        Path | None, typer.Option("--output", metavar="FILE", help="Write to this file instead of standard output.")
    ] = None,
) -> None:
    """Print or save the move program; a file is written whole or not at all."""
    if json and format not in (MoveFormat.TABLE, MoveFormat.JSON):
        raise InputError(f"--json and --format {format.value} contradict each other", "Give one of them")
    if output_file is not None and not json and format is MoveFormat.TABLE:
        raise InputError("the table is only shown, never saved", "Add --format rs274, csv or json", key="--output")
    setup = load_job(job)
    plan = planned(setup)
    if format is MoveFormat.TABLE and not json:
        documents.show(moves_document(plan.program))
        return
    text = _export(MoveFormat.JSON if json else format, setup, plan)
    if output_file is None:
        typer.echo(text, nl=False)
    else:
        _save(output_file, text)


def _export(format: MoveFormat, setup: Setup, plan: JobPlan) -> str:
    document = moves_document(plan.program)
    if format is MoveFormat.CSV:
        return csv_text(document.tables[0])
    if format is MoveFormat.JSON:
        return output.document_text(json_document(document))
    return _rs274(setup, plan)


def _rs274(setup: Setup, plan: JobPlan) -> str:
    lines = rs274_lines(setup.machine, plan.program, passes=setup.job.mark.passes, settle_s=plan.settle_s)
    return "".join(f"{line}\n" for line in lines)


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
