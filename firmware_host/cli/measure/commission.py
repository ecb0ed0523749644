"""`commission`: measure the machine that was really built, one procedure at a time, and write what was found."""

from __future__ import annotations

from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from firmware_host.acts import Jog
from firmware_host.cli.input.arguments import BaudOption, JobArgument, JsonOption, PortOption, StationOption, whole
from firmware_host.cli.input.gate_program import ProgramOption, words_of_program
from firmware_host.cli.input.planned import laid_out, read
from firmware_host.cli.input.quantities import si_value
from firmware_host.cli.measure.person import AtTheTerminal, SaidBeforehand
from firmware_host.cli.screen import documents, output
from firmware_host.cli.screen.advice import completed
from firmware_host.cli.turn.by_hand import (
    Described,
    WriteSettingsOption,
    called_with,
    hand_for,
    job_here,
    line_for,
    machine_here,
)
from firmware_host.clock import SystemClock
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.marks.comb import USUAL_SPACING
from firmware_host.commissioning.marks.strips import closing_strips, ladder_strips, seam_strips, write_strips
from firmware_host.commissioning.procedures.base import Bench, Procedure
from firmware_host.commissioning.procedures.registry import PROCEDURES, procedure_named
from firmware_host.commissioning.record import Record, Written, read_record
from firmware_host.commissioning.session import Person, carry_out
from firmware_host.commissioning.write_back import write_back
from firmware_host.errors import InputError
from firmware_host.model import Setup
from firmware_host.model.files.loading import load_machine
from firmware_host.model.files.profiles import find_profile, is_machine
from firmware_host.reporting.measuring.commissioning import (
    findings_document,
    procedures_document,
    record_document,
    strips_document,
)
from firmware_host.station.hand.hand import Hand
from firmware_host.station.hand.line import ControllerLine
from firmware_host.station.hand.marking import MarkingSide

_READ_TO, _ANGLE_TO = "0.1 mm", "0.5 deg"

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
    record: RecordOption = Path("commissioning"),
    json: JsonOption = False,
) -> None:
    """All that was measured of a machine: every finding with its uncertainty, every reading, what was written."""
    documents.show(record_document(read_record(_kept_at(record, load_machine(machine).name))), json=json)


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
    output.remark(_READ_BY[what])


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
    record: RecordOption = Path("commissioning"),
    port: PortOption = "",
    baud: BaudOption = None,
    station: StationOption = "",
    write_settings: WriteSettingsOption = False,
    json: JsonOption = False,
) -> None:
    """Turn the axis as the procedure wants it, ask for each reading, and say what follows from them."""
    wanted = procedure_named(procedure)
    wish = _Wish(
        turns=turns or wanted.turns,
        repeats=repeats or wanted.repeats,
        within_length=si_value(read_to, "length", "--read-to") or 0.0,
        within_angle=si_value(angle_to, "angle", "--angle-to") or 0.0,
    )
    if wanted.writes_settings and not write_settings:
        problem = "it changes the controller's acceleration for each trial, and puts it back"
        raise InputError(problem, "Allow that: --write-settings", key="--write-settings")
    described = _described(of, station=station, port=port, baud=baud, gate_program=gate_program)
    path = _kept_at(record, described.machine.name)
    again = Jog(of, described.port, diameter=diameter)
    with (
        _opened(wanted, described, again, record, write_settings=write_settings) as axis,
        Record(path, described.machine.name, SystemClock()) as kept,
    ):
        bench = _bench(described, axis, wish)
        person: Person = SaidBeforehand(reading, bench) if reading else AtTheTerminal(axis, bench)
        _tell(wanted, bench, person)
        findings = carry_out(wanted, bench, axis, person, kept)
        written = _written(findings, described, kept) if write else ()
    said = called_with(described, again)
    findings = tuple(replace(each, acts=tuple(completed(act, said) for act in each.acts)) for each in findings)
    documents.show(findings_document(wanted, findings, written), json=json)
    files = dict.fromkeys(finding.change.file for finding in findings if finding.change is not None)
    if not write and files:
        output.remark(f"Nothing was written: --write puts it into the {' and the '.join(files)}'s file.")


@dataclass(frozen=True)
class _Wish:
    """How the person wants it."""

    turns: int
    repeats: int
    within_length: float
    within_angle: float


def _described(of: str, *, station: str, port: str, baud: int | None, gate_program: str) -> Described:
    if is_machine(of):
        return machine_here(of, station=station, port=port, baud=baud)
    program = words_of_program(gate_program)
    return job_here(of, None, station=station, port=port, baud=baud, gate_program=program)


def _opened(
    procedure: Procedure, described: Described, again: Jog, record: Path, *, write_settings: bool
) -> AbstractContextManager[Hand | ControllerLine]:
    """What the procedure is carried out at."""
    if procedure.asks_only:
        return line_for(described, again)
    marking = _marking(procedure, described, record)
    return hand_for(described, again, write_settings=write_settings, marking=marking, unlock=procedure.seeks_home)


def _marking(procedure: Procedure, described: Described, folder: Path) -> MarkingSide | None:
    """What the job's gate needs, for a procedure that opens it. Raises `InputError` where it starts a program."""
    if not procedure.opens_gate or not isinstance(described.what, Setup):
        return None
    if described.what.job.gate.kind == "command" and not described.gate_program:
        problem = "the job's gate starts a program for each pass, and none was named"
        raise InputError(problem, "Name it, with its arguments, as one text", key="--gate-program")
    folder.mkdir(parents=True, exist_ok=True)
    return MarkingSide(described.gate_program, folder)


def _kept_at(folder: Path, machine: str) -> Path:
    """The record of a machine; its name goes into the file's as far as every system allows."""
    name = "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in machine.lower()).strip("-")
    return folder / f"{name[:60] or 'machine'}.jsonl"


def _bench(described: Described, axis: Hand | ControllerLine, wish: _Wish) -> Bench:
    return Bench(
        machine=described.machine,
        setup=described.what if isinstance(described.what, Setup) else None,
        per_turn=axis.plan.per_turn,
        diameter=axis.plan.diameter,
        turns=wish.turns,
        repeats=wish.repeats,
        within_length=wish.within_length,
        within_angle=wish.within_angle,
        plan=axis.plan,
        line=axis if isinstance(axis, ControllerLine) else None,
    )


def _tell(procedure: Procedure, bench: Bench, person: Person) -> None:
    person.tell(f"{procedure.title[:1].upper()}{procedure.title[1:]}. {procedure.purpose}")
    person.tell(f"You need: {'; '.join(procedure.needs)}.")
    person.tell(procedure.moves(bench))


def _written(findings: tuple[Finding, ...], described: Described, kept: Record) -> tuple[Written, ...]:
    events = []
    for finding in findings:
        if finding.change is not None:
            done = write_back(_file_of(finding.change, described), finding, SystemClock().now())
            for each in (done, *done.also):
                event = Written(
                    file=str(each.file), key=each.key, before=each.before, after=each.after, backup=str(each.backup)
                )
                kept.note(event)
                events.append(event)
    return tuple(events)


def _file_of(change: Change, described: Described) -> Path:
    """The file that a change goes into."""
    what = described.what
    if change.file == "job" and isinstance(what, Setup):
        return find_profile("jobs", what.job_source)
    source = what.machine_source if isinstance(what, Setup) else described.source
    if not source:
        raise InputError("no file describes the machine", "Name its file", key="--write")
    return find_profile("machines", source)


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.add_typer(commission_app, name="commission")
