"""What every way to measure a machine shares: the machine that stands there, its record, a bench, what is written."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path

from firmware_host.acts import Measure
from firmware_host.cli.input.gate_program import words_of_program
from firmware_host.cli.turn.by_hand import Described, hand_for, job_here, line_for, machine_here
from firmware_host.clock import SystemClock
from firmware_host.commissioning.finding import Change, Finding
from firmware_host.commissioning.procedures.base import Bench, Procedure
from firmware_host.commissioning.record import Record, Written
from firmware_host.commissioning.session import Person
from firmware_host.commissioning.write_back import write_back
from firmware_host.errors import ControllerError, InputError, LinkError, SettingsMismatchError, StoppedError
from firmware_host.model import Setup
from firmware_host.model.files.profiles import find_profile, is_machine
from firmware_host.station.hand.hand import Hand
from firmware_host.station.hand.line import ControllerLine
from firmware_host.station.hand.marking import MarkingSide

KEPT = "every reading so far is kept"


@dataclass(frozen=True)
class Wish:
    """How the person wants it."""

    turns: int
    repeats: int
    within_length: float
    within_angle: float


def described_here(
    of: str, *, station: str, port: str, baud: int | None, gate_program: str, told: bool = True
) -> Described:
    """The machine, or the job whose part is in it, at its station, which is `told`."""
    if is_machine(of):
        return machine_here(of, station=station, port=port, baud=baud, told=told)
    program = words_of_program(gate_program)
    return job_here(of, None, station=station, port=port, baud=baud, gate_program=program, told=told)


@contextmanager
def opened(
    procedure: Procedure,
    described: Described,
    again: Measure,
    record: Path,
    *,
    write_settings: bool,
    caution: bool = True,
) -> Iterator[Hand | ControllerLine]:
    """What the procedure is carried out at. What ends it early says how to resume: `again`."""
    try:
        with _opened(procedure, described, again, record, write_settings=write_settings, caution=caution) as axis:
            yield axis
    except StoppedError as error:
        error.doing, error.left = "measuring", "; ".join(filter(None, (error.left, KEPT)))
        error.acts = error.acts or (again,)
        raise
    except (LinkError, ControllerError, SettingsMismatchError) as error:
        error.acts = (*(act for act in error.acts if not isinstance(act, Measure)), again)
        raise


def _opened(
    procedure: Procedure,
    described: Described,
    again: Measure,
    record: Path,
    *,
    write_settings: bool,
    caution: bool,
) -> AbstractContextManager[Hand | ControllerLine]:
    if procedure.asks_only:
        return line_for(described, again)
    marking = _marking(procedure, described, record)
    return hand_for(
        described,
        again,
        write_settings=write_settings,
        marking=marking,
        unlock=procedure.seeks_home,
        caution=caution,
    )


def _marking(procedure: Procedure, described: Described, folder: Path) -> MarkingSide | None:
    """What the job's gate needs, for a procedure that opens it. Raises as `require_gate_program`."""
    if not procedure.opens_gate or not isinstance(described.what, Setup):
        return None
    require_gate_program(procedure, described)
    folder.mkdir(parents=True, exist_ok=True)
    return MarkingSide(described.gate_program, folder)


def require_gate_program(procedure: Procedure, described: Described) -> None:
    """Raise `InputError` where a procedure opens a gate that starts a program, and none was named."""
    if not procedure.opens_gate or not isinstance(described.what, Setup):
        return
    if described.what.job.gate.kind == "command" and not described.gate_program:
        problem = "the job's gate starts a program for each pass, and none was named"
        raise InputError(problem, "Name it, with its arguments, as one text", key="--gate-program")


def kept_at(folder: Path, machine: str) -> Path:
    """The record of a machine; its name goes into the file's as far as every system allows."""
    name = "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in machine.lower()).strip("-")
    return folder / f"{name[:60] or 'machine'}.jsonl"


def bench_for(described: Described, axis: Hand | ControllerLine, wish: Wish) -> Bench:
    """What a procedure knows of what stands there."""
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
        paced=isinstance(axis, Hand) and axis.may_pace,
    )


def tell(procedure: Procedure, bench: Bench, person: Person) -> None:
    """Say what a procedure is for, what is needed, and what will move."""
    person.tell(f"{procedure.title[:1].upper()}{procedure.title[1:]}. {procedure.purpose}")
    person.tell(f"You need: {'; '.join(procedure.needs)}.")
    person.tell(procedure.moves(bench))


def written_of(findings: tuple[Finding, ...], described: Described, kept: Record) -> tuple[Written, ...]:
    """Write what was found into the files that say otherwise; returns what was written, noted in the record."""
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


def unusual(said: str, usual: str) -> str:
    """An option as it was said; "" where it is as usual, so that a command which repeats it leaves it out."""
    return "" if said == usual else said
