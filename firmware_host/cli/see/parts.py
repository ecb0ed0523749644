"""`--parts`: what a command shows of one part, for each part of a table: a line each."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NamedTuple

import typer

from firmware_host.cli.screen import documents, output
from firmware_host.cli.screen.progress_bar import telling_done
from firmware_host.errors import EXIT_CHECK_FAILED, InputError
from firmware_host.model import Motor, Setup
from firmware_host.model.files.parts import PartRow, read_parts
from firmware_host.reporting.measures import Units

if TYPE_CHECKING:
    from collections.abc import Mapping

    from firmware_host.reporting.document import Document

PartsOption = Annotated[
    Path | None,
    typer.Option(
        "--parts", metavar="FILE.csv", help='A table of parts, a line for each: columns "part.diameter mm" ...'
    ),
]

_MORE = "--details: every part. --csv and --json have them all, too."


class Form(NamedTuple):
    """What is printed of a table of parts, and in which units for people."""

    csv: bool
    json: bool
    details: bool
    units: Units


def limits_of(setup: Setup, table: Path, form: Form) -> None:
    """Plan each part; status 1 if one is stopped."""
    from firmware_host.planning.many.parts import plan_many
    from firmware_host.reporting.plans.parts import limits_of_parts

    with _parts(setup, table) as (rows, told):
        plans = plan_many(setup, rows, told=told)
    _show(setup, rows, limits_of_parts(plans), form, stopped=bool(plans.stops.any()))


def segments_of(setup: Setup, table: Path, form: Form) -> None:
    """Lay each part out; status 1 if one can't be."""
    from firmware_host.planning.many.parts import lay_out_many
    from firmware_host.reporting.plans.parts import segments_of_parts

    with _parts(setup, table) as (rows, told):
        plans = lay_out_many(setup, rows, told=told)
    _show(setup, rows, segments_of_parts(plans, form.units), form, stopped=bool(plans.stops.any()))


def motors_of(setup: Setup, table: Path, library: Mapping[str, Motor], form: Form) -> None:
    """Compare the motors for each part; status 1 if no motor does one of them."""
    from firmware_host.planning.many.motors import motors_for_many
    from firmware_host.reporting.plans.parts import motors_of_parts

    with _parts(setup, table) as (rows, told):
        found = motors_for_many(setup, rows, library, told=told)
    _show(setup, rows, motors_of_parts(found), form, stopped=not all(each.usable for each in found))


@contextmanager
def _parts(setup: Setup, table: Path) -> Iterator[tuple[Sequence[PartRow], Callable[[int], None]]]:
    """The rows, and what moves a bar to how many of them are done; errors name the table, or the job's files."""
    rows = read_parts(table)
    with telling_done("parts", len(rows)) as told:
        try:
            yield rows, told
        except InputError as error:
            raise replace(error, source=str(table)) from error


def _show(setup: Setup, rows: Sequence[PartRow], document: Document, form: Form, *, stopped: bool) -> None:
    if form.csv:
        from firmware_host.reporting.plans.parts import with_own_columns
        from firmware_host.reporting.render.csv import csv_text

        output.exact(csv_text(with_own_columns(document, rows)))
    else:
        documents.show(
            document, json=form.json, remarks=setup.remarks, details=form.details, units=form.units, more=_MORE
        )
    if stopped:
        raise typer.Exit(EXIT_CHECK_FAILED)


def require_one_form(*, csv: bool, json: bool) -> None:
    """Refuse both at once."""
    if csv and json:
        raise InputError("--csv and --json contradict each other", "Give one of them")
