"""`run` and `resume`: a job on a real (or simulated) machine."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from firmware_host.acts import Act, Resume, Run
from firmware_host.cli.input.arguments import AcceptOption, BaudOption, JobArgument, JsonOption, PortOption
from firmware_host.cli.input.planned import loaded, planned
from firmware_host.cli.screen import documents, output
from firmware_host.cli.screen.advice import completing_acts
from firmware_host.cli.screen.run_progress import RunProgress
from firmware_host.cli.screen.run_status import showing_run_status
from firmware_host.clock import SystemClock
from firmware_host.errors import InputError, StoppedError
from firmware_host.model import Setup
from firmware_host.model.job.gate import ExtensionGateOptions
from firmware_host.planning.limits.accept import read_accepted
from firmware_host.reporting.runs.run import run_document
from firmware_host.station.gates.dry import DryGate
from firmware_host.station.journal.record import PassRecord, RunRecord
from firmware_host.station.opened import OpenStation, StationOptions, open_in, station_in
from firmware_host.station.opening import port_of
from firmware_host.station.operator import TerminalOperator
from firmware_host.station.reopened import port_of_run
from firmware_host.station.resume import require_startable, resume_run
from firmware_host.station.run import Station, require_limits
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.runs.resumable import Resumable
from firmware_host.station.stop_request import StopRequest
from firmware_host.station.zero import AskZero, ZeroAt, ZeroDoubt
from firmware_host.system.keyboard import is_terminal
from firmware_host.system.processes import join_command, split_command

_DRY_PASS_S = 0.5

Word = TypeVar("Word", bound=str)

ProgramOption = Annotated[
    str,
    typer.Option(
        "--gate-program",
        metavar="COMMAND",
        help="Program for the job's command gate with its arguments, as one text; no shell is used. Put a path with "
        "spaces into quotation marks inside of it.",
    ),
]
ProgramArgument = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="[-- PROGRAM ...]",
        help="The gate's program and its arguments, behind --: the simpler way to say --gate-program.",
    ),
]
DryOption = Annotated[
    bool,
    typer.Option(
        "--without-marking", help="Turn the part as planned without marking, with a short pause for each pass."
    ),
]
ReleaseOption = Annotated[
    bool,
    typer.Option(
        "--release-motor",
        help="Release the motor if the run ends early and the axis stands still: the part can then turn by itself, and "
        "its position is lost.",
    ),
]


class Assume(StrEnum):
    """How to treat a pass that was interrupted."""

    DONE = "done"
    NOT_DONE = "not-done"


class ZeroChoice(StrEnum):
    """Where the zero of a run is."""

    HERE = "here"
    LAST = "last"
    HOME = "home"


class ResumeZeroChoice(StrEnum):
    """Where the zero of a resumed run is; the last two are words of before."""

    HERE = "here"
    LAST = "last"
    HOME = "home"
    AS_LEFT = "as-left"
    SET_ANEW = "set-anew"


_ZERO_AT: Mapping[str, ZeroAt] = {"here": "here", "last": "last", "home": "home", "set-anew": "here"}


def _zero_at(choice: StrEnum | None) -> ZeroAt | None:
    """Where a run's zero is; unsaid for as-left, which stands for a home switch that is sought again, too."""
    return None if choice is None else _ZERO_AT.get(choice.value)


def run(
    job: JobArgument,
    program: ProgramArgument = None,
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
    zero: Annotated[
        ZeroChoice | None,
        typer.Option(
            help="Where the job's zero is. here: where the part stands. last: where the last run at this port had it. "
            "home: at the home switch."
        ),
    ] = None,
    runs: Annotated[Path, typer.Option(metavar="FOLDER", help="Where run folders are made.")] = Path("runs"),
    json: JsonOption = False,
) -> None:
    """Plan, require the limits, open the station, run, print the record."""
    setup = loaded(job, accept_limit)
    gate_program = _program(gate_program, program, setup)
    plan = planned(setup)
    require_limits(plan.limits)
    url = port_of(setup.machine, port)
    folder = RunFolder.create(runs, setup.job.name, SystemClock().now())
    accepted = tuple(accept_limit or ())
    called_with = {"job": job, "machine": setup.machine_source, "port": url, "gate_program": gate_program}
    called_with |= {"baud": str(baud or ""), "runs": "" if runs == Path("runs") else str(runs)}
    with completing_acts(**called_with, accepted=accepted), showing_run_status(folder, json=json), ExitStack() as stack:
        stack.callback(folder.drop_unused)
        stack.enter_context(_saying_again(Run(without_marking=without_marking, release_motor=release_motor)))
        options = _options(stack, gate_program, baud, without_marking=without_marking, release_motor=release_motor)
        opened = stack.enter_context(open_in(folder, setup, plan, url, **options))
        record = opened.run(
            zero=_zero_at(zero),
            ask_zero=_asking_zero(opened.station),
            write_settings=_writing(opened) if write_settings else None,
        )
    _show(record, folder, json=json)


def resume(
    folder: Annotated[Path, typer.Argument(metavar="RUN", help="The folder of a run that was stopped or crashed.")],
    program: ProgramArgument = None,
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
    json: JsonOption = False,
) -> None:
    """Open the station of the run's own setup and port, resume it, print the record."""
    read_accepted(accept_limit or (), key="--accept-limit")
    run_folder = RunFolder.existing(folder)
    found = Resumable.read(run_folder)
    setup, url = found.setup, port_of_run(found, port)
    gate_program = _program(gate_program, program, setup)
    called_with = {"run": str(folder), "job": setup.job_source, "machine": setup.machine_source, "port": url}
    with completing_acts(**called_with), showing_run_status(run_folder, json=json), ExitStack() as stack:
        again = Resume(str(folder), zero=_zero_at(zero) or "", without_marking=without_marking)
        stack.enter_context(_saying_again(again))
        options = _options(stack, gate_program, baud, without_marking=without_marking, release_motor=release_motor)
        station = stack.enter_context(
            station_in(
                run_folder,
                setup,
                url,
                drop_held_motion=True,
                before_opening=lambda gate: require_startable(found, gate, _zero_at(zero)),
                **options,
            )
        )
        ask = _asking(assume, station)
        record = resume_run(
            station,
            ask=ask,
            zero=_zero_at(zero),
            ask_zero=_asking_zero(station),
            accept_limits=accept_limit or (),
        )
    _show(record, run_folder, json=json)


@contextmanager
def _saying_again(again: Act) -> Iterator[None]:
    """What was stopped before the run began, or was resumed, says how to do that again."""
    try:
        yield
    except StoppedError as error:
        error.acts = error.acts or (again,)
        raise


def _program(option: str, behind: Sequence[str] | None, setup: Setup) -> str:
    """The gate's program with its arguments as one text, whichever way it was named."""
    if not behind:
        _words_of(option)  # told before anything is opened
        return option
    if option:
        raise InputError("the gate's program is named twice", "Leave out one of them", key="--gate-program")
    gate = setup.job.gate
    if gate.kind != "command" and not isinstance(gate, ExtensionGateOptions):
        problem = f"the job's gate, {gate.kind}, starts no program"
        raise InputError(problem, f"Leave out {' '.join(behind)!r}", source=setup.job_source, key="gate")
    return join_command(behind)


def _options(
    stack: ExitStack, gate_program: str, baud: int | None, *, without_marking: bool, release_motor: bool
) -> StationOptions:
    """How the station of a run is opened here; Ctrl-C and the like ask for a stop until `stack` is closed."""
    stop = StopRequest()
    stack.enter_context(stop.on_signals())
    return {
        "operator": TerminalOperator(),
        "gate": (lambda context: DryGate(context, _DRY_PASS_S)) if without_marking else None,
        "gate_program": _words_of(gate_program),
        "progress": stack.enter_context(RunProgress(marking=not without_marking)),
        "stop": stop,
        "baud": baud,
        "release_motor": release_motor,
    }


def _words_of(gate_program: str) -> tuple[str, ...]:
    """The gate's program and its arguments, taken apart as this system's shell would."""
    try:
        return split_command(gate_program)
    except ValueError as error:
        problem = f"{gate_program!r} is no command ({error})"
        raise InputError(problem, "Close every quotation mark", key="--gate-program") from error


def _writing(opened: OpenStation) -> Callable[[], None]:
    """What writes the settings that the plan needs, and says so."""

    def write() -> None:
        opened.write_settings(announce=output.announce_backup)
        output.remark("settings written and read back")

    return write


def _asking(assume: Assume | None, station: Station) -> Callable[[PassRecord], bool]:
    """How to learn whether a pass was finished: the option, else the person at the terminal."""
    if assume is not None:
        return lambda entry: assume is Assume.DONE

    def ask(entry: PassRecord) -> bool:
        question = f"Was segment {entry.segment}, pass {entry.number} finished? Look at the part: y or n, then Enter."
        yes_or_no = {"y": "y", "yes": "y", "n": "n", "no": "n"}
        return _answer(station, question, yes_or_no, "press y or n, then Enter") == "y"

    return ask


def _asking_zero(station: Station) -> AskZero | None:
    """How to learn where the zero is after a run that was stopped: from a person at a terminal; None without one."""
    if not is_terminal(sys.stdin):
        return None

    def ask(doubt: ZeroDoubt) -> ZeroAt:
        words: dict[str, ZeroAt] = {"here": "here"} if doubt.unproved else {"here": "here", "last": "last"}
        last = "" if doubt.unproved else " last: turn the part back to that run's zero and begin there."
        question = (
            f"The last run at this port, {doubt.run}, {doubt.why}. Where is the zero of this run? here: where the part "
            f"stands now.{last} To resume that run instead, press Ctrl-C."
        )
        return _answer(station, question, words, f"type {' or '.join(words)}, then Enter")

    return ask


def _answer(station: Station, question: str, answers: Mapping[str, Word], hint: str) -> Word:
    """What the person at the terminal says, one of `answers`. A wish to stop ends the waiting."""
    operator = station.operator
    operator.tell(question)
    while (answer := (operator.answer() or "").lower()) not in answers:
        if answer:
            operator.tell(f"{answer[:20]!r} is not an answer: {hint}.")
        station.stop.check()
        station.clock.sleep(0.05)
    return answers[answer]


def _show(record: RunRecord, folder: RunFolder, *, json: bool) -> None:
    documents.show(run_document(record), json=json)
    if not json:
        output.lines([f"Record: {folder.record}"])


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    for command in (run, resume):
        app.command()(command)
