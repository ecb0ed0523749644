"""`motors`: which motors do a job, how quickly, and what stops each."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from firmware_host.cli.input.arguments import (
    AcceptOption,
    DetailsOption,
    JobArgument,
    JsonOption,
    PartsOption,
    UnitsOption,
    require_one_form,
)
from firmware_host.cli.input.planned import loaded, planned
from firmware_host.cli.screen import documents, output
from firmware_host.cli.screen.progress_bar import counting
from firmware_host.errors import EXIT_CHECK_FAILED, InputError
from firmware_host.model import Motor, load_motor
from firmware_host.model.files.profiles import list_profiles
from firmware_host.planning.compare.motors import compare_motors
from firmware_host.reporting.measures import Units
from firmware_host.reporting.plans.motors import motors_document
from firmware_host.reporting.render.csv import csv_text

_MORE = "--details: what stops each motor, in full, and what each limit costs."


def motors(
    job: JobArgument,
    folder: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Motor files (.toml) to compare, instead of the profiles.")
    ] = None,
    accept_limit: AcceptOption = None,
    json: JsonOption = False,
    details: DetailsOption = False,
    units: UnitsOption = Units.METRIC,
    parts: PartsOption = None,
    csv: Annotated[bool, typer.Option("--csv", help="Print CSV.")] = False,
) -> None:
    """Print the job's plan with each motor of the library; ends with status 1 if every one is stopped."""
    require_one_form(csv=csv, json=json)
    setup = loaded(job, accept_limit)
    library = _library(folder)
    if parts is not None:
        from firmware_host.cli.see.parts import Form, motors_of  # not loaded without a table

        motors_of(setup, parts, library, Form(csv, json, details, units))
        return
    with counting("motors", len(library), planned) as plan:
        candidates = compare_motors(setup, library, plan=plan)
    document = motors_document(candidates, setup.job.accept, setup.machine.motor)
    if csv:
        output.exact(csv_text(document.tables[0]))
    else:
        documents.show(document, json=json, remarks=setup.remarks, details=details, units=units, more=_MORE)
    if all(each.verdict.stops for each in candidates):
        raise typer.Exit(EXIT_CHECK_FAILED)


def _library(folder: Path | None) -> dict[str, Motor]:
    """The motors by name: every profile, or every .toml file of a folder."""
    if folder is None:
        return {profile.name: load_motor(str(profile.path)) for profile in list_profiles("motors")}
    try:
        files = sorted(path for path in folder.iterdir() if path.suffix == ".toml")
    except OSError as error:
        raise InputError(
            f"cannot be read ({error.strerror})", "Name a folder of motor files", source=str(folder), key="--folder"
        ) from error
    if not files:
        raise InputError("holds no motor file (.toml)", "Name another folder", source=str(folder), key="--folder")
    return {path.stem: load_motor(str(path)) for path in files}


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command()(motors)
