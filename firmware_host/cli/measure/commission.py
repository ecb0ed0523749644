"""`commission`: measure the machine that was really built, one procedure at a time, and write what was found."""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from firmware_host.acts import Measure
from firmware_host.cli.input.arguments import (
    BaudOption,
    DetailsOption,
    JobArgument,
    JsonOption,
    PortOption,
    StationOption,
    whole,
)
from firmware_host.cli.input.gate_program import ProgramOption
from firmware_host.cli.input.planned import laid_out, read
from firmware_host.cli.input.quantities import si_value
from firmware_host.cli.measure import guided
from firmware_host.cli.measure.measuring import (
    KEPT,
    Wish,
    bench_for,
    described_here,
    kept_at,
    opened,
    tell,
    unusual,
    written_of,
)
from firmware_host.cli.measure.person import AtTheTerminal, SaidBeforehand
from firmware_host.cli.screen import documents, output
from firmware_host.cli.screen.advice import completed
from firmware_host.cli.turn.by_hand import Described, WriteSettingsOption, called_with
from firmware_host.clock import SystemClock
from firmware_host.commissioning.marks.comb import USUAL_SPACING
from firmware_host.commissioning.marks.strips import closing_strips, ladder_strips, seam_strips, write_strips
from firmware_host.commissioning.procedures.base import Procedure
from firmware_host.commissioning.procedures.registry import PROCEDURES, procedure_named
from firmware_host.commissioning.record import Record, read_record
from firmware_host.commissioning.session import Person, carry_out
from firmware_host.errors import EXIT_STOPPED, InputError, StoppedError
from firmware_host.model.files.loading import load_machine
from firmware_host.reporting.measuring.commissioning import (
    findings_document,
    led_document,
    procedures_document,
    strips_document,
)
from firmware_host.reporting.measuring.record import record_document
from firmware_host.reporting.render.plain import WIDTH, wrapped

_MORE = "--details: every formula, standard uncertainty and reading."
_READ_TO, _ANGLE_TO, _RECORD = "0.1 mm", "0.5 deg", "commissioning"

commission_app = typer.Typer(no_args_is_help=True)
RecordOption = Annotated[Path, typer.Option("--record", metavar="FOLDER", help="Where what is measured is kept.")]


@commission_app.command("list")
def list_command(json: JsonOption = False) -> None:
    """What can be measured, and what is needed for it."""
    documents.show(procedures_document(PROCEDURES), json=json)


@commission_app.command("report")
def report_command(
    machine: Annotated[
        str, typer.Argument(metavar="MACHINE", help="The machine, as it was named when it was measured.")
    ],
    record: RecordOption = Path(_RECORD),
    json: JsonOption = False,
    details: DetailsOption = False,
) -> None:
    """All that was measured of a machine: every finding with its uncertainty, every reading, what was written."""
    events = read_record(kept_at(record, load_machine(machine).name))
    documents.show(record_document(events, PROCEDURES), json=json, details=details, more=_MORE)


class Marks(StrEnum):
    """Which test marks."""

    SEAM = "seam"
    CLOSING = "closing"
    LADDER = "ladder"


_READ_BY = {
    Marks.SEAM: "seam JOB --vernier 1=NUMBER takes what you read.",
    Marks.CLOSING: "seam JOB --vernier 1=NUMBER --closing NUMBER/NUMBER takes what you read.",
    Marks.LADDER: "commission measure focus JOB turns the part to fresh places for it, and asks what you read.",
}


@commission_app.command("marks")
def marks_command(
    job: JobArgument,
    output_folder: Annotated[Path, typer.Option("--output", metavar="FOLDER", help="Where the strips are written.")],
    what: Annotated[
        Marks,
        typer.Option(help="A seam, the seam that closes a full wrap, or the ladder that shows the marking window."),
    ] = Marks.SEAM,
    spacing: Annotated[
        str,
        typer.Option(
            metavar="LENGTH",
            help="Of the lines (usually 0.5 mm), a tenth of which is read; of a ladder, from rung to rung downwards.",
        ),
    ] = "",
    json: JsonOption = False,
) -> None:
    """Write strips (SVG) to mark that tell a gap or the marking window by eye, and how to read them."""
    setup = read(job)
    layout, apart = laid_out(setup), si_value(spacing, "length", "--spacing")
    if what is Marks.LADDER:
        made = ladder_strips(setup, layout, apart or 0.0)
    else:
        strips = closing_strips if what is Marks.CLOSING else seam_strips
        made = strips(setup, layout, apart or USUAL_SPACING)
    written = write_strips(made, output_folder)
    documents.show(strips_document(made, written), json=json, remarks=setup.remarks)
    for line in wrapped(_READ_BY[what].replace("JOB", job), WIDTH):
        output.remark(line)


@commission_app.command("measure")
def measure_command(
    procedure: Annotated[str, typer.Argument(metavar="PROCEDURE", help="As `commission list` names it.")],
    of: Annotated[str, typer.Argument(metavar="MACHINE|JOB", help="A machine, or a job whose part is in it.")],
    turns: Annotated[int, whole("--turns", help="Whole turns at a time (0: as usual).")] = 0,
    repeats: Annotated[int, whole("--repeats", help="How often (0: as usual).")] = 0,
    reading: Annotated[
        list[str] | None, typer.Option(help="What is read, in the order in which it is asked; may be given again.")
    ] = None,
    read_to: Annotated[str, typer.Option(metavar="LENGTH", help="How closely lengths are read.")] = _READ_TO,
    angle_to: Annotated[str, typer.Option(metavar="ANGLE", help="How closely angles are read.")] = _ANGLE_TO,
    diameter: Annotated[str, typer.Option(metavar="LENGTH", help="Of the part, where no job says it.")] = "",
    write: Annotated[
        bool, typer.Option("--write", help="Write what was found into the machine's file, or the job's.")
    ] = False,
    gate_program: ProgramOption = "",
    record: RecordOption = Path(_RECORD),
    port: PortOption = "",
    baud: BaudOption = None,
    station: StationOption = "",
    write_settings: WriteSettingsOption = False,
    json: JsonOption = False,
) -> None:
    """Turn the axis as the procedure wants it, ask for each reading, and say what follows from them."""
    wanted = procedure_named(procedure)
    wish = Wish(
        turns=turns or wanted.turns,
        repeats=repeats or wanted.repeats,
        within_length=si_value(read_to, "length", "--read-to") or 0.0,
        within_angle=si_value(angle_to, "angle", "--angle-to") or 0.0,
    )
    if wanted.writes_settings and not write_settings:
        problem = "it changes the controller's acceleration for each trial, and puts it back"
        raise InputError(problem, "Allow that: --write-settings", key="--write-settings")
    described = described_here(of, station=station, port=port, baud=baud, gate_program=gate_program)
    path = kept_at(record, described.machine.name)
    again = Measure(
        wanted.key,
        of,
        described.port,
        diameter=diameter,
        turns=str(turns or ""),
        repeats=str(repeats or ""),
        read_to=unusual(read_to, _READ_TO),
        angle_to=unusual(angle_to, _ANGLE_TO),
        gate_program=gate_program,
        record=unusual(str(record), _RECORD),
        baud=str(baud or ""),
        write=write,
        write_settings=write_settings,
    )
    with (
        opened(wanted, described, again, record, write_settings=write_settings) as axis,
        Record(path, described.machine.name, SystemClock()) as kept,
    ):
        bench = bench_for(described, axis, wish)
        person: Person = SaidBeforehand(reading, bench) if reading else AtTheTerminal(axis, bench)
        tell(wanted, bench, person)
        findings = carry_out(wanted, bench, axis, person, kept)
        written = written_of(findings, described, kept) if write else ()
    said = called_with(described, again)
    findings = tuple(replace(each, acts=tuple(completed(act, said) for act in each.acts)) for each in findings)
    documents.show(findings_document(wanted, findings, written), json=json)
    files = dict.fromkeys(finding.change.file for finding in findings if finding.change is not None)
    if not write and files:
        output.remark(f"Nothing was written: --write puts it into the {' and the '.join(files)}'s file.")


@commission_app.command("run")
def run_command(
    of: Annotated[str, typer.Argument(metavar="MACHINE|JOB", help="A machine, or a job whose part is in it.")],
    only: Annotated[
        list[str] | None, typer.Argument(metavar="[PROCEDURE]...", help="Only these; all where none is named.")
    ] = None,
    again: Annotated[bool, typer.Option("--again", help="Measure anew what was measured already.")] = False,
    write: Annotated[bool, typer.Option("--write", help="Write what was found without asking.")] = False,
    read_to: Annotated[str, typer.Option(metavar="LENGTH", help="How closely lengths are read.")] = _READ_TO,
    angle_to: Annotated[str, typer.Option(metavar="ANGLE", help="How closely angles are read.")] = _ANGLE_TO,
    diameter: Annotated[str, typer.Option(metavar="LENGTH", help="Of the part, where no job says it.")] = "",
    gate_program: ProgramOption = "",
    record: RecordOption = Path(_RECORD),
    port: PortOption = "",
    baud: BaudOption = None,
    station: StationOption = "",
    write_settings: WriteSettingsOption = False,
) -> None:
    """Be led through all procedures in their order, without those that are done or that the machine can't have."""
    lengths, angles = si_value(read_to, "length", "--read-to") or 0.0, si_value(angle_to, "angle", "--angle-to") or 0.0

    def wish(procedure: Procedure) -> Wish:
        return Wish(procedure.turns, procedure.repeats, lengths, angles)

    def here(told: bool) -> Described:
        return described_here(of, station=station, port=port, baud=baud, gate_program=gate_program, told=told)

    wanted = [each.key for each in PROCEDURES if each in [procedure_named(name) for name in only or ()]]
    resume = Measure(
        of=of,
        port=port,
        only=tuple(wanted),
        diameter=diameter,
        read_to=unusual(read_to, _READ_TO),
        angle_to=unusual(angle_to, _ANGLE_TO),
        gate_program=gate_program,
        record=unusual(str(record), _RECORD),
        baud=str(baud or ""),
        again=again,
        write=write,
        write_settings=write_settings,
    )
    guide = guided.Guide(wish, record, again=again, write=write, write_settings=write_settings, resume=resume)
    led = guided.Led([each for each in PROCEDURES if not wanted or each.key in wanted], here, guide)
    try:
        led.go()
    except KeyboardInterrupt as error:
        raise StoppedError("Ctrl-C", "measuring", KEPT, acts=(led.resume(),)) from error
    documents.show(led_document(led.told, [each.key for each in led.left], led.resume()), json=False)
    if led.left:
        raise typer.Exit(EXIT_STOPPED)


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.add_typer(commission_app, name="commission")
