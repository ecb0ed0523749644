"""What `run`, `resume` and their like share: options, how the station is opened, what is asked, what is shown."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from firmware_host.acts import Act
from firmware_host.cli.input.at_station import job_at
from firmware_host.cli.input.gate_program import words_of_program
from firmware_host.cli.screen import documents, output
from firmware_host.cli.screen.advice import advice_lines, completed
from firmware_host.cli.screen.keys_of_run import RunKeys
from firmware_host.cli.screen.run_progress import RunProgress
from firmware_host.errors import FirmwareHostError, InputError, StoppedError
from firmware_host.model import Setup
from firmware_host.model.files.at_station import JobAtStation
from firmware_host.model.job.gate import ExtensionGateOptions
from firmware_host.planning.plan import JobPlan
from firmware_host.reporting.runs.run import run_document
from firmware_host.station.gates.dry import DryGate
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.opened import OpenStation, StationOptions
from firmware_host.station.operator import Choice, Operator, Question, TerminalOperator
from firmware_host.station.passes.choice import PassChoice
from firmware_host.station.passes.control import RunControl
from firmware_host.station.passes.station import Station
from firmware_host.station.progress import Progress
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.zero import AskZero, ZeroAt, ZeroDoubt
from firmware_host.system.keyboard import is_terminal
from firmware_host.system.processes import join_command

if TYPE_CHECKING:
    from firmware_host.page.opened import StationPage

_DRY_PASS_S = 0.5

CalledWith = Mapping[str, str | tuple[str, ...]]

Word = TypeVar("Word", bound=str)

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
OnlyOption = Annotated[
    str,
    typer.Option(
        "--only",
        metavar="SEGMENTS",
        help='Mark only these segments, from 1: "3", "2-4" or "1,3-5".',
        show_default=False,
    ),
]
FromOption = Annotated[
    int | None, typer.Option("--from", metavar="SEGMENT", min=1, help="Mark from this segment on, from 1.")
]
StateOption = Annotated[
    list[str] | None,
    typer.Option(
        "--state",
        metavar="FILE|tcp:PORT",
        help="Keep the run's state in this file, or tell it on this port of this computer; may be given again.",
    ),
]


PageOption = Annotated[
    bool,
    typer.Option(
        "--page",
        help="Show the run in a browser of this computer, STILL or TURNING huge, with buttons; the address is printed.",
    ),
]
PagePortOption = Annotated[
    int | None,
    typer.Option(
        "--page-port", metavar="PORT", min=0, max=65535, help="Serve the page at this port; any free one without it."
    ),
]

_ZERO_AT: Mapping[str, ZeroAt] = {"here": "here", "last": "last", "home": "home", "set": "set", "set-anew": "here"}
_MEANT: Mapping[ZeroAt, str] = {
    "here": "where the part stands now",
    "last": "turn the part back to that run's zero and begin there",
    "set": "turn the part back to the zero that was set by hand and begin there",
}


def zero_at(choice: StrEnum | None) -> ZeroAt | None:
    """Where a run's zero is; unsaid for as-left, which stands for a home switch that is sought again, too."""
    return None if choice is None else _ZERO_AT.get(choice.value)


def chosen_passes(only: str, first: int | None, setup: Setup, plan: JobPlan) -> PassChoice:
    """Which segments the options name. Raises `InputError` for those that the job does not have."""
    if only and first is not None:
        raise InputError("--only and --from are both given", "Leave out one of them", key="--from")
    choice = PassChoice.only(only, key="--only") if only else PassChoice(first=first or 1)
    choice.of(plan.segments.count, setup.job.mark.passes, key="--only" if only else "--from")
    return choice


@contextmanager
def saying_again(again: Act) -> Iterator[None]:
    """What was stopped before the run began, or was resumed, says how to do that again."""
    try:
        yield
    except StoppedError as error:
        error.acts = error.acts or (again,)
        raise


def run_at(
    setup: Setup,
    behind: Sequence[str] | None,
    option: str,
    *,
    station: str,
    port: str,
    baud: int | None,
    own_gate: bool = False,
    anywhere: bool = False,
) -> tuple[JobAtStation, str]:
    """Where a job is run, as in `job_at`, and the gate's program as one text if it was named here, for advice.

    It is named `behind` --, or by the `option`. Raises `InputError` for one that can't be started, or is named twice.
    """
    here = job_at(
        setup,
        station=station,
        port=port,
        baud=baud,
        gate_program=tuple(behind) if behind else words_of_program(option),
        own_gate=own_gate,
        anywhere=anywhere,
    )
    return here, _named_program(option, behind, here.setup)


def _named_program(option: str, behind: Sequence[str] | None, setup: Setup) -> str:
    if not behind:
        return option
    if option:
        raise InputError("the gate's program is named twice", "Leave out one of them", key="--gate-program")
    gate = setup.job.gate
    if gate.kind != "command" and not isinstance(gate, ExtensionGateOptions):
        problem = f"the job's gate, {gate.kind}, starts no program"
        raise InputError(problem, f"Leave out {' '.join(behind)!r}", source=setup.job_source, key="gate")
    return join_command(behind)


def station_options(
    stack: ExitStack,
    gate_program: tuple[str, ...],
    baud: int | None,
    *,
    without_marking: bool,
    release_motor: bool,
    state: Sequence[str] | None = None,
    page: int | None = None,
    called_with: CalledWith = MappingProxyType({}),
) -> StationOptions:
    """How the station of a run is opened here; Ctrl-C and the like ask for a stop until `stack` is closed.

    `page`: at which port the station page is served, 0 for any, None for no page; `called_with`: see `completing_acts`.
    """
    control = RunControl()
    stack.enter_context(control.stop.on_signals())
    keys = RunKeys(control, TerminalOperator())
    progress = stack.enter_context(RunProgress(marking=not without_marking, keys=keys))
    shown = None if page is None else show_page(stack, control, keys, progress, page, called_with)
    return {
        "operator": keys if shown is None else shown.operator,
        "gate": (lambda context: DryGate(context, _DRY_PASS_S)) if without_marking else None,
        "gate_program": gate_program,
        "progress": progress if shown is None else shown.progress,
        "control": control,
        "baud": baud,
        "release_motor": release_motor,
        "state": (*(state or ()), *(() if shown is None else (shown.outlet,))),
    }


def port_of_page(page: bool, port: int | None) -> int | None:
    """At which port the station page is served, 0 for any; None where none is asked for. A port asks for it, too."""
    return port if port is not None else 0 if page else None


def show_page(
    stack: ExitStack,
    control: RunControl,
    operator: Operator,
    progress: Progress,
    port: int,
    called_with: CalledWith = MappingProxyType({}),
) -> StationPage:
    """Serve the station page until `stack` is closed, and print its address."""
    from firmware_host.page.opened import station_page  # no run without a page needs its server

    def todo(error: FirmwareHostError) -> list[str]:
        return advice_lines(completed(act, called_with) for act in error.acts)

    shown = stack.enter_context(station_page(control, operator, progress, port, todo))
    output.remark(f"station page, on this computer: {shown.url}")
    return shown


def write_and_tell(opened: OpenStation) -> None:
    """Write the settings that the plan needs, and say so."""
    opened.write_settings(announce=output.announce_backup)
    output.remark("settings written and read back")


def asking_zero(station: Station) -> AskZero | None:
    """How to learn where the zero is after a run that was stopped: from a person at a terminal; None without one."""
    if not is_terminal(sys.stdin) and not station.operator.elsewhere:
        return None

    def ask(doubt: ZeroDoubt) -> ZeroAt:
        words: dict[str, ZeroAt] = {way: way for way in doubt.ways}
        meant = "".join(f" {way}: {_MEANT[way]}." for way in sorted(doubt.ways))
        whose = f"The last run at this port, {doubt.run}, {doubt.why}" if doubt.run else f"Mind: {doubt.why}"
        instead = " To resume that run instead, press Ctrl-C." if doubt.run else ""
        question = f"{whose}. Where is the zero of this run?{meant}{instead}"
        return answer(station, question, words, f"type {' or '.join(words)}, then Enter")

    return ask


def answer(station: Station, question: str, answers: Mapping[str, Word], hint: str) -> Word:
    """What the person at the terminal or the page says, one of `answers`. A wish to stop ends the waiting."""
    operator = station.operator
    operator.tell(question)
    words = {meant: word for word, meant in answers.items()}  # the last word for each is the longest
    operator.asks(Question(question, tuple(Choice(word, word) for word in words.values())))
    try:
        while (answer := (operator.answer() or "").lower()) not in answers:
            if answer:
                operator.tell(f"{answer[:20]!r} is not an answer: {hint}.")
            station.stop.check()
            station.clock.sleep(0.05)
    finally:
        operator.asks(None)
    return answers[answer]


def show(record: RunRecord, folder: RunFolder, *, json: bool, details: bool = False) -> None:
    """Print the record of a run that is done, and where it is kept."""
    documents.show(run_document(record), json=json, details=details)
    if not json:
        output.lines([f"Record: {folder.record}"])
