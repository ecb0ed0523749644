"""`jog`: a hand on the axis, by keys or by options."""

from __future__ import annotations

from typing import Annotated

import typer

from firmware_host.acts import Jog, Run
from firmware_host.cli.input.arguments import AcceptOption, BaudOption, JsonOption, PortOption, StationOption
from firmware_host.cli.screen import documents
from firmware_host.cli.turn.by_hand import (
    ByOption,
    ToOption,
    WriteSettingsOption,
    at_keys,
    hand_for,
    job_here,
    keys_here,
    machine_here,
    turned,
)
from firmware_host.errors import InputError
from firmware_host.model import Setup
from firmware_host.model.files.profiles import is_machine
from firmware_host.reporting.machines.hand import hand_document


def jog(
    of: Annotated[
        str,
        typer.Argument(
            metavar="[JOB|MACHINE]",
            help="A job, or a machine: file (.toml) or profile; left out, the machine of the station in use.",
        ),
    ] = "",
    port: PortOption = "",
    baud: BaudOption = None,
    station: StationOption = "",
    diameter: Annotated[
        str, typer.Option("--diameter", help="Of the part, where no job says it: lengths, and rollers, need it.")
    ] = "",
    by: ByOption = "",
    to: ToOption = "",
    set_zero: Annotated[bool, typer.Option("--set-zero", help="Then set the zero where the part stands.")] = False,
    accept_limit: AcceptOption = None,
    write_settings: WriteSettingsOption = False,
    json: JsonOption = False,
) -> None:
    """Open a hand, turn by keys or as the options say, print where the part stands."""
    alone = not of or is_machine(of)
    if alone and accept_limit:
        problem = "limits are accepted for a job, and none is named"
        raise InputError(problem, "Name the job, or leave it out", key="--accept-limit")
    if not alone and diameter:
        raise InputError("the job says its part's diameter", "Leave it out, or change the job", key="--diameter")
    if alone:
        described = machine_here(of, station=station, port=port, baud=baud)
    else:
        described = job_here(of, accept_limit, station=station, port=port, baud=baud)
    again = Jog(of, described.port, diameter, by=by, to=to)
    by_options = bool(by or to or set_zero)
    if by_options:
        with hand_for(described, again, write_settings=write_settings) as hand:
            turned(hand, by=by, to=to)
            if set_zero:
                hand.set_zero()
            where, part = hand.where, hand.plan.part
    else:
        with (
            keys_here("Say --by, --to or --set-zero") as keys,
            hand_for(described, again, write_settings=write_settings) as hand,
        ):
            at_keys(hand, keys)
            where, part = hand.where, hand.plan.part
    begins = where.zero == "set" and isinstance(described.what, Setup)
    advice = (Run(job=of, port=described.port),) if begins else ()
    documents.show(hand_document(where, part=part, advice=advice), json=json)


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(jog)
