"""`--parts`: what a command shows of one part, for each part of a table: a line each."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import typer

from firmware_host.cli.screen import documents, output
from firmware_host.cli.screen.progress_bar import telling_done
from firmware_host.errors import EXIT_CHECK_FAILED, InputError
from firmware_host.model import Motor, Setup
from firmware_host.model.files.parts import PartRow, read_parts
from firmware_host.reporting.measures import Units
from firmware_host.system.workers import processors, workers

if TYPE_CHECKING:
    from collections.abc import Mapping

    from firmware_host.planning.many.rows import Spread
    from firmware_host.reporting.document import Document

_LOADED = [f"firmware_host.planning.{name}" for name in ("many.parts", "many.motors", "limit_report")]
_FEW, _MANY, _VERY_MANY = 8, 100, 1000  # parts: from so many on it is quicker with all processors, which take a second
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

    with _parts(table, _MANY) as (rows, told, spread):
        plans = plan_many(setup, rows, told=told, spread=spread)
    _show(setup, rows, limits_of_parts(plans), form, stopped=bool(plans.stops.any()))


def segments_of(setup: Setup, table: Path, form: Form) -> None:
    """Lay each part out; status 1 if one can't be."""
    from firmware_host.planning.many.parts import lay_out_many
    from firmware_host.reporting.plans.parts import segments_of_parts

    with _parts(table, _VERY_MANY) as (rows, told, spread):
        plans = lay_out_many(setup, rows, told=told, spread=spread)
    _show(setup, rows, segments_of_parts(plans, form.units), form, stopped=bool(plans.stops.any()))


def cards_of(setup: Setup, table: Path, form: Form) -> None:
    """The card of the marking side for each part; status 1 if one can't be laid out."""
    from firmware_host.planning.many.cards import cards_for_many
    from firmware_host.reporting.plans.part_cards import part_cards_document

    with _parts(table, _VERY_MANY) as (rows, told, spread):
        cards = cards_for_many(setup, rows, told=told, spread=spread)
    document, stopped = part_cards_document(setup, cards), any(card.strips is None for card in cards)
    documents.show(document, json=form.json, remarks=setup.remarks, details=form.details, units=form.units)
    if stopped:
        raise typer.Exit(EXIT_CHECK_FAILED)


def motors_of(setup: Setup, table: Path, library: Mapping[str, Motor], form: Form) -> None:
    """Compare the motors for each part; status 1 if no motor does one of them."""
    from firmware_host.planning.many.motors import motors_for_many
    from firmware_host.reporting.plans.parts import motors_of_parts

    with _parts(table, _FEW) as (rows, told, spread):
        found = motors_for_many(setup, rows, library, told=told, spread=spread)
    _show(setup, rows, motors_of_parts(found), form, stopped=not all(each.usable for each in found))


@contextmanager
def _parts(table: Path, least: int) -> Iterator[tuple[Sequence[PartRow], Callable[[int], None], Spread | None]]:
    """The rows, what moves a bar to how many are done, and what spreads many of them over the processors."""
    rows, count = read_parts(table), processors()
    many = len(rows) >= least and count > 1
    with telling_done("parts", len(rows)) as told, workers(count, loaded=_LOADED) if many else nullcontext() as spread:
        try:
            yield rows, told, spread
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
