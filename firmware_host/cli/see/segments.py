"""`segments`: where the segments of a job lie, and what to expect at the seams."""

from __future__ import annotations

from typing import Annotated

import typer

from firmware_host.cli.input.arguments import (
    DetailsOption,
    JobArgument,
    JsonOption,
    PartsOption,
    UnitsOption,
    require_one_form,
)
from firmware_host.cli.input.planned import laid_out, read
from firmware_host.cli.input.quantities import si_value
from firmware_host.cli.screen import documents
from firmware_host.errors import InputError
from firmware_host.model import Setup
from firmware_host.planning.layout.seams import TrueSizes
from firmware_host.planning.plan import Layout
from firmware_host.reporting.document import Document
from firmware_host.reporting.measures import Units
from firmware_host.reporting.plans.segments import segments_document

_MORE = "--details: every segment and seam, what makes each gap, what is assumed."


def segments(
    job: JobArgument,
    json: JsonOption = False,
    details: DetailsOption = False,
    units: UnitsOption = Units.METRIC,
    true_diameter: Annotated[
        str, typer.Option(metavar="LENGTH", help="Predict the seams for a part of this true diameter.")
    ] = "",
    true_roller: Annotated[
        str, typer.Option(metavar="LENGTH", help="Predict the seams for rollers of this true diameter.")
    ] = "",
    card: Annotated[
        bool, typer.Option("--card", help="Print the card for the marking side: what to enter at the laser.")
    ] = False,
    parts: PartsOption = None,
    csv: Annotated[bool, typer.Option("--csv", help="Print the table of parts as CSV.")] = False,
) -> None:
    """Print the layout; the true diameters only change what is predicted of the seams."""
    _require_fitting(parts=parts is not None, card=card, true=bool(true_diameter or true_roller), csv=csv, json=json)
    true = TrueSizes(
        si_value(true_diameter, "length", "--true-diameter"), si_value(true_roller, "length", "--true-roller")
    )
    setup = read(job)
    if parts is not None:
        from firmware_host.cli.see.parts import Form, cards_of, segments_of  # not loaded without a table

        (cards_of if card else segments_of)(setup, parts, Form(csv, json, details, units))
        return
    if true.roller_diameter is not None and setup.machine.drive.sets_surface_travel != "roller":
        problem = f"machine {setup.job.machine!r} has no rollers"
        raise InputError(problem, "Leave it out, or give --true-diameter", key="--true-roller")
    plan = laid_out(setup, true)
    document = _card(setup, plan) if card else segments_document(plan, units)
    more = "" if card else _MORE
    documents.show(document, json=json, remarks=setup.remarks, details=details, units=units, more=more)


def _require_fitting(*, parts: bool, card: bool, true: bool, csv: bool, json: bool) -> None:
    require_one_form(csv=csv, json=json)
    if csv and card:
        raise InputError("a card is not printed as CSV", "Leave --csv out, or --card", key="--csv")
    if csv and not parts:
        raise InputError("only a table of parts is printed as CSV", "Add --parts, or leave --csv out", key="--csv")
    if parts and true:
        raise InputError("--parts has diameters of its own", "Leave the true diameters out", key="--parts")


def _card(setup: Setup, plan: Layout) -> Document:
    from firmware_host.reporting.plans.card import card_document  # not loaded for those who ask for the layout

    return card_document(setup, plan)


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(segments)
