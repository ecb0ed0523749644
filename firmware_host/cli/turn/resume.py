"""`resume`: a run that was stopped or crashed, resumed."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from firmware_host.acts import Resume
from firmware_host.cli.input.arguments import (
    AcceptOption,
    BaudOption,
    DetailsOption,
    JsonOption,
    PortOption,
    StationOption,
)
from firmware_host.cli.input.gate_program import ProgramOption
from firmware_host.cli.screen.advice import completing_acts
from firmware_host.cli.screen.run_status import showing_run_status
from firmware_host.cli.turn.batch import NextAfterOption, batch_at, resume_parts
from firmware_host.cli.turn.shared import (
    DryOption,
    PageOption,
    PagePortOption,
    ProgramArgument,
    ReleaseOption,
    StateOption,
    answer,
    asking_zero,
    port_of_page,
    run_at,
    saying_again,
    show,
    station_options,
    zero_at,
)
from firmware_host.planning.limits.accept import read_accepted
from firmware_host.station.journal.record import PassRecord
from firmware_host.station.opened import station_in
from firmware_host.station.passes.station import Station
from firmware_host.station.reopened import port_of_run
from firmware_host.station.resume import require_startable, resume_run
from firmware_host.station.runs.folder import RunFolder, is_batch, require_own_run
from firmware_host.station.runs.resumable import Resumable
from firmware_host.system.processes import join_command


class Assume(StrEnum):
    """How to treat a pass that was interrupted."""

    DONE = "done"
    NOT_DONE = "not-done"


class ResumeZeroChoice(StrEnum):
    """Where the zero of a resumed run is; the last two are words of before."""

    HERE = "here"
    LAST = "last"
    HOME = "home"
    AS_LEFT = "as-left"
    SET_ANEW = "set-anew"


def resume(
    folder: Annotated[
        Path, typer.Argument(metavar="RUN", help="The folder of a run, or a batch, that was stopped or crashed.")
    ],
    program: ProgramArgument = None,
    station: StationOption = "",
    port: PortOption = "",
    baud: BaudOption = None,
    assume: Annotated[
        Assume | None, typer.Option(help="Treat interrupted passes as done or not-done, without asking.")
    ] = None,
    zero: Annotated[
        ResumeZeroChoice | None,
        typer.Option(
            help="Where the job's zero is. last (or as-left): the axis stands where the run left it. here (or "
            "set-anew): you turned the part to it by hand. home: at the home switch."
        ),
    ] = None,
    accept_limit: AcceptOption = None,
    gate_program: ProgramOption = "",
    without_marking: DryOption = False,
    release_motor: ReleaseOption = False,
    state: StateOption = None,
    page: PageOption = False,
    page_port: PagePortOption = None,
    next_after: NextAfterOption = "",
    json: JsonOption = False,
    details: DetailsOption = False,
) -> None:
    """Open the station of the run's own setup and port, resume it, print the record."""
    read_accepted(accept_limit or (), key="--accept-limit")
    if is_batch(folder):
        words = gate_program or (join_command(program) if program else "")
        called_with = {"run": str(folder), "gate_program": words, "baud": str(baud or "")}
        with completing_acts(**called_with), ExitStack() as stack:
            here = batch_at(folder, station=station, port=port, baud=baud, program=program, gate_program=gate_program)
            resume_parts(
                folder,
                here.port,
                zero=zero_at(zero),
                next_after=next_after,
                finished=lambda opened: _asking(assume, opened),
                accepted=tuple(accept_limit or ()),
                json=json,
                options=station_options(
                    stack,
                    here.gate_program,
                    here.baud,
                    without_marking=without_marking,
                    release_motor=release_motor,
                    state=state,
                    page=port_of_page(page, page_port),
                    called_with=called_with,
                ),
            )
        return
    require_own_run(folder)
    run_folder = RunFolder.existing(folder)
    found = Resumable.read(run_folder)
    asked = port if station else port_of_run(found, port)
    here, gate_program = run_at(
        found.setup, program, gate_program, station=station, port=asked, baud=baud, own_gate=True
    )
    setup, url = found.setup, port_of_run(found, here.port)
    called_with = {"run": str(folder), "job": setup.job_source, "machine": setup.machine_source, "port": url}
    called_with |= {"gate_program": gate_program, "baud": str(baud or ""), "said_zero": zero_at(zero) or ""}
    with completing_acts(**called_with), showing_run_status(run_folder, json=json), ExitStack() as stack:
        again = Resume(str(folder), zero=zero_at(zero) or "", without_marking=without_marking)
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
        opened = stack.enter_context(
            station_in(
                run_folder,
                setup,
                url,
                drop_held_motion=True,
                before_opening=lambda gate: require_startable(found, gate, zero_at(zero)),
                **options,
            )
        )
        ask = _asking(assume, opened)
        record = resume_run(
            opened,
            ask=ask,
            zero=zero_at(zero),
            ask_zero=asking_zero(opened),
            accept_limits=accept_limit or (),
        )
    show(record, run_folder, json=json, details=details)


def _asking(assume: Assume | None, station: Station) -> Callable[[PassRecord], bool]:
    """How to learn whether a pass was finished: the option, else the person at the terminal."""
    if assume is not None:
        return lambda entry: assume is Assume.DONE

    def ask(entry: PassRecord) -> bool:
        question = f"Was segment {entry.segment}, pass {entry.number} finished? Look at the part: y or n, then Enter."
        yes_or_no = {"y": "y", "yes": "y", "n": "n", "no": "n"}
        return answer(station, question, yes_or_no, "press y or n, then Enter") == "y"

    return ask


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(resume)
