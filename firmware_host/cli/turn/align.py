"""`align`: turn a place of the part that can be seen under the laser; then the job's zero is known."""

from __future__ import annotations

from typing import Annotated

import typer

from firmware_host.acts import Jog, Run
from firmware_host.cli.input.arguments import (
    AcceptOption,
    BaudOption,
    JobArgument,
    JsonOption,
    PortOption,
    StationOption,
)
from firmware_host.cli.screen import documents, output
from firmware_host.cli.turn.by_hand import (
    ByOption,
    WriteSettingsOption,
    at_keys,
    hand_for,
    job_here,
    keys_here,
    turned,
)
from firmware_host.errors import InputError
from firmware_host.model import Setup
from firmware_host.reporting.machines.hand import hand_document
from firmware_host.station.hand.hand import Hand
from firmware_host.station.hand.places import Place, place_named, places_of


def align(
    job: JobArgument,
    on: Annotated[
        str,
        typer.Option(
            "--on",
            metavar="PLACE",
            help="What is turned under the laser: start-mark (the job's zero), handle (the middle of a keep-out arc), "
            'first-segment, mark-begin, or an angle from the zero, "30 deg". Left out, it is asked.',
        ),
    ] = "",
    here: Annotated[
        bool, typer.Option("--here", help="It is under the laser now: set the zero without asking for keys.")
    ] = False,
    by: ByOption = "",
    port: PortOption = "",
    baud: BaudOption = None,
    station: StationOption = "",
    accept_limit: AcceptOption = None,
    write_settings: WriteSettingsOption = False,
    json: JsonOption = False,
) -> None:
    """Open a hand on the job, let a place be turned under the laser, set the job's zero by it."""
    described = job_here(job, accept_limit, station=station, port=port, baud=baud)
    again = Jog(job, described.port)
    if here:
        if not on:
            raise InputError("what is under the laser is not said", "Say --on PLACE beside --here", key="--on")
        with hand_for(described, again, write_settings=write_settings) as hand:
            (place,) = _places(described.what, hand, on)
            turned(hand, by=by, to="")
            hand.set_zero(place.turns, place=place.words)
            confirmed, where, part = True, hand.where, hand.plan.part
    else:
        with (
            keys_here("Say --on PLACE --here") as keys,
            hand_for(described, again, write_settings=write_settings) as hand,
        ):
            turned(hand, by=by, to="")
            confirmed = at_keys(hand, keys, _places(described.what, hand, on))
            where, part = hand.where, hand.plan.part
    if not confirmed:
        output.remark("left without a zero: nothing was confirmed")
    advice = (Run(job=job, port=described.port),) if confirmed else ()
    documents.show(hand_document(where, part=part, advice=advice), json=json)


def _places(setup: object, hand: Hand, on: str) -> tuple[Place, ...]:
    """All places of the job, or the one that is named."""
    if not isinstance(setup, Setup):
        raise TypeError("a job is aligned, no machine")
    places = places_of(setup, hand.plan.plan)
    return (place_named(on, places, key="--on"),) if on else places


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(align)
