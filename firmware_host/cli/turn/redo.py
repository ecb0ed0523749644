"""`redo`: segments of an earlier run marked again on the part that is still clamped."""

from __future__ import annotations

import sys
from contextlib import ExitStack
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from firmware_host import acts
from firmware_host.cli.input.arguments import AcceptOption, BaudOption, JsonOption, PortOption, StationOption
from firmware_host.cli.input.gate_program import ProgramOption
from firmware_host.cli.screen.advice import completing_acts
from firmware_host.cli.screen.run_status import showing_run_status
from firmware_host.cli.turn.shared import (
    DryOption,
    PageOption,
    PagePortOption,
    ProgramArgument,
    ReleaseOption,
    StateOption,
    answer,
    port_of_page,
    run_at,
    saying_again,
    show,
    station_options,
    zero_at,
)
from firmware_host.clock import SystemClock
from firmware_host.planning.limits.accept import read_accepted
from firmware_host.station.passes.station import Station
from firmware_host.station.redo import Redo, open_redo_in
from firmware_host.station.run import require_limits
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.zero import AskZero, ZeroAt, ZeroDoubt
from firmware_host.system.keyboard import is_terminal


class RedoZeroChoice(StrEnum):
    """Where the zero is of segments that are marked again."""

    HERE = "here"
    LAST = "last"
    HOME = "home"


def redo(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="The folder of a run whose part is still clamped.")],
    segments: Annotated[
        str, typer.Option(metavar="SEGMENTS", help='Segments to mark again, from 1: "3", "2-4" or "1,3-5".')
    ],
    program: ProgramArgument = None,
    passes: Annotated[
        int | None, typer.Option(min=1, metavar="NUMBER", help="Passes of each; else as many as that run had.")
    ] = None,
    station: StationOption = "",
    port: PortOption = "",
    baud: BaudOption = None,
    zero: Annotated[
        RedoZeroChoice | None,
        typer.Option(
            help="Where the job's zero is. last: where that run had it, which is proved; the default. here: where the "
            "part stands. home: at the home switch."
        ),
    ] = None,
    accept_limit: AcceptOption = None,
    gate_program: ProgramOption = "",
    without_marking: DryOption = False,
    release_motor: ReleaseOption = False,
    state: StateOption = None,
    page: PageOption = False,
    page_port: PagePortOption = None,
    json: JsonOption = False,
) -> None:
    """Open the station of the run's own setup and port, mark the segments again, print the record."""
    accepted = tuple(accept_limit or ())
    read_accepted(accepted, key="--accept-limit")
    found = Redo.read(run, segments, passes=passes)
    asked = port if station else port or found.port
    here, gate_program = run_at(
        found.setup, program, gate_program, station=station, port=asked, baud=baud, own_gate=True
    )
    found.require_port(here.port)
    require_limits(found.plan.limits, (*found.accepted, *accepted))
    folder = RunFolder.create(run.parent, found.setup.job.name, SystemClock().now())
    again = acts.Redo(str(run), segments, str(passes or ""), zero_at(zero) or "", without_marking, release_motor)
    called_with = {"job": found.setup.job_source, "machine": found.setup.machine_source, "port": found.port}
    called_with |= {"gate_program": gate_program, "baud": str(baud or ""), "run": str(run), "segments": segments}
    called_with |= {"each": str(passes or ""), "said_zero": zero_at(zero) or ""}
    with completing_acts(**called_with), showing_run_status(folder, json=json), ExitStack() as stack:
        stack.callback(folder.drop_unused)
        stack.enter_context(saying_again(again))
        options = station_options(
            stack,
            here.gate_program,
            here.baud,
            without_marking=without_marking,
            release_motor=release_motor,
            state=state,
            page=port_of_page(page, page_port),
            called_with=called_with,
        )
        opened = stack.enter_context(open_redo_in(folder, found, accepted=accepted, **options))
        record = opened.run(zero=zero_at(zero), ask_zero=_asking(found, opened.station))
    show(record, folder, json=json)


def _asking(found: Redo, station: Station) -> AskZero | None:
    """How to learn where the zero is that can't be proved: from a person at a terminal; None without one."""
    if not is_terminal(sys.stdin) and not station.operator.elsewhere:
        return None

    def ask(doubt: ZeroDoubt) -> ZeroAt:
        words: dict[str, ZeroAt] = {"here": "here"}
        home = ""
        if found.setup.machine.axis.home_switch:
            words["home"], home = "home", " home: at the home switch, which is sought."
        question = (
            f"The run {doubt.run} {doubt.why}. Where is the zero of this part? here: where it stands now (turn it "
            f"there by hand first).{home} To leave it, press Ctrl-C."
        )
        return answer(station, question, words, f"type {' or '.join(words)}, then Enter")

    return ask


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(redo)
