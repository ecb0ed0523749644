"""`run`: a job on a real (or simulated) machine."""

from __future__ import annotations

from contextlib import ExitStack
from enum import StrEnum
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from firmware_host.acts import Run
from firmware_host.cli.input.arguments import (
    AcceptOption,
    BaudOption,
    DetailsOption,
    JobArgument,
    JsonOption,
    PortOption,
    StationOption,
    UnitsOption,
)
from firmware_host.cli.input.gate_program import ProgramOption
from firmware_host.cli.input.planned import loaded, planned
from firmware_host.cli.screen import documents
from firmware_host.cli.screen.advice import completing_acts
from firmware_host.cli.screen.run_status import showing_run_status
from firmware_host.cli.turn.batch import BetweenOption, NextAfterOption, PartsOption, require_whole, run_parts
from firmware_host.cli.turn.shared import (
    DryOption,
    FromOption,
    OnlyOption,
    PageOption,
    PagePortOption,
    ProgramArgument,
    ReleaseOption,
    StateOption,
    asking_zero,
    chosen_passes,
    port_of_page,
    run_at,
    saying_again,
    show,
    station_options,
    write_and_tell,
    zero_at,
)
from firmware_host.clock import SystemClock
from firmware_host.errors import InputError
from firmware_host.reporting.measures import Units
from firmware_host.reporting.plans.first.plan import plan_document
from firmware_host.station.opened import open_in
from firmware_host.station.opening import port_of
from firmware_host.station.run import require_limits
from firmware_host.station.runs.folder import RunFolder


class ZeroChoice(StrEnum):
    """Where the zero of a run is."""

    HERE = "here"
    LAST = "last"
    HOME = "home"
    SET = "set"


def run(
    job: JobArgument,
    program: ProgramArgument = None,
    station: StationOption = "",
    port: PortOption = "",
    baud: BaudOption = None,
    accept_limit: AcceptOption = None,
    write_settings: Annotated[
        bool,
        typer.Option("--write-settings", help="First write the settings that the plan needs; the old ones are kept."),
    ] = False,
    gate_program: ProgramOption = "",
    without_marking: DryOption = False,
    release_motor: ReleaseOption = False,
    state: StateOption = None,
    page: PageOption = False,
    page_port: PagePortOption = None,
    zero: Annotated[
        ZeroChoice | None,
        typer.Option(
            help="Where the job's zero is. here: where the part stands. last: where the last run at this port had it. "
            "home: at the home switch. set: where it was set by hand (jog, align)."
        ),
    ] = None,
    only: OnlyOption = "",
    first: FromOption = None,
    parts: PartsOption = "",
    next_after: NextAfterOption = "",
    release_between: BetweenOption = False,
    rehearse: Annotated[
        bool,
        typer.Option("--rehearse", help="Do this run on a simulated controller in quick time, and say what it did."),
    ] = False,
    runs: Annotated[Path, typer.Option(metavar="FOLDER", help="Where run folders are made.")] = Path("runs"),
    json: JsonOption = False,
    details: DetailsOption = False,
    units: UnitsOption = Units.METRIC,
) -> None:
    """Plan, require the limits, open the station, run, print the record."""
    here, gate_program = run_at(
        loaded(job, accept_limit),
        program,
        gate_program,
        station=station,
        port=port,
        baud=baud,
        own_gate=without_marking or rehearse,
        anywhere=rehearse,
    )
    setup = here.setup
    accepted = tuple(accept_limit or ())
    called_with: dict[str, str | tuple[str, ...]] = {
        "job": job,
        "machine": setup.machine_source,
        "gate_program": gate_program,
        "accepted": accepted,
        "said_zero": zero_at(zero) or "",
        "baud": str(baud or ""),
        "runs": "" if runs == Path("runs") else str(runs),
    }
    if parts:
        require_whole(only, first)
        if rehearse:
            raise InputError("a batch is not rehearsed", "Leave out --parts: its job is rehearsed", key="--rehearse")
        url = port_of(setup.machine, here.port)
        called_with |= {"port": url, "parts": parts, "next_after": next_after}
        with completing_acts(**called_with), ExitStack() as stack:
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
            run_parts(
                setup,
                parts,
                url,
                runs=runs,
                zero=zero_at(zero),
                next_after=next_after,
                release_between=release_between,
                write_settings=write_settings,
                accepted=accepted,
                json=json,
                options=options,
            )
        return
    if rehearse and port_of_page(page, page_port) is not None:
        problem = "a rehearsal is over in a moment, and has no page"
        raise InputError(problem, "Leave out --page, or --rehearse", key="--page")
    plan = planned(setup)
    require_limits(plan.limits)
    choice = chosen_passes(only, first, setup, plan)
    if rehearse:
        from firmware_host.cli.turn.rehearse import show_rehearsal  # no other run needs the simulator

        at = here.port or setup.machine.link.port
        shown = partial(show_rehearsal, json=json, details=details, units=units)
        shown(setup, plan, at, passes=choice, accept_limits=accepted, runs=runs)
        return
    url = port_of(setup.machine, here.port)
    folder = RunFolder.create(runs, setup.job.name, SystemClock().now())
    called_with |= {"port": url, "only": only, "first": str(first or "")}
    with completing_acts(**called_with), showing_run_status(folder, json=json), ExitStack() as stack:
        stack.callback(folder.drop_unused)
        stack.enter_context(saying_again(Run(without_marking=without_marking, release_motor=release_motor)))
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
        opened = stack.enter_context(open_in(folder, setup, plan, url, **options))
        if not json:
            documents.show(plan_document(setup, plan, units))
        record = opened.run(
            zero=zero_at(zero),
            ask_zero=asking_zero(opened.station),
            write_settings=partial(write_and_tell, opened) if write_settings else None,
            passes=choice,
        )
    show(record, folder, json=json, details=details)


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(run)
