"""`schema` and `profile`: the files a user writes, and those that ship."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from firmware_host.cli.input.arguments import JsonOption
from firmware_host.cli.program import PROGRAM
from firmware_host.cli.screen import documents, output
from firmware_host.errors import InputError
from firmware_host.model import Machine, Motor, Setup, load_job, load_machine, load_motor, schema
from firmware_host.model.files.files import read_toml
from firmware_host.model.files.profiles import ProfileKind, find_profile, list_profiles, new_profile, new_target
from firmware_host.model.files.schemas import refer_to_schema
from firmware_host.model.interview.question import FileKind
from firmware_host.model.plausible.check import findings
from firmware_host.reporting.machines.profiles import profiles_document
from firmware_host.reporting.measures import listed
from firmware_host.reporting.render.printable import printable
from firmware_host.system.console import command_line

profile_app = typer.Typer(no_args_is_help=True)

TRUE = "true-machine"
"""What was really built, to practise on."""
_KINDS: dict[str, ProfileKind] = {"machine": "machines", "motor": "motors", "job": "jobs", TRUE: "true-machines"}
_KINDS_TOLD = listed(sorted(_KINDS), "or")
_FILE_KINDS: dict[str, FileKind] = {"machine": "machine", "motor": "motor", "job": "job"}


def schema_command(
    kind: Annotated[str, typer.Argument(help=listed(sorted((*_KINDS, "state")), "or"))],
    beside: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Put it beside this file, which gets a first line by which editors find it."),
    ] = None,
) -> None:
    """Print a schema; the kinds are those of `model.schema`, the state that a run tells, and a true machine."""
    if beside is not None:
        output.lines([str(_with_schema(kind, beside))])
        return
    if kind == "state":
        from firmware_host.station.state.message import state_schema  # no file of the user's

        output.document(state_schema())
        return
    output.document(_true_schema() if kind == TRUE else schema(kind))


def _true_schema() -> dict[str, Any]:
    from firmware_host.simulator.true_machine.description import TrueMachine  # what a machine's file does not say

    return TrueMachine.model_json_schema()


def _with_schema(kind: str, path: Path) -> Path:
    """Where the schema lies that the file now names."""
    return refer_to_schema(kind, path, _true_schema() if kind == TRUE else None)


@profile_app.command("list")
def list_command(json: JsonOption = False) -> None:
    """List all profiles."""
    found = [profile for kind in _KINDS.values() for profile in list_profiles(kind)]
    documents.show(profiles_document(found), json=json)


@profile_app.command("show")
def show_command(
    kind: Annotated[str, typer.Argument(help=_KINDS_TOLD)],
    name: Annotated[str, typer.Argument()],
    history: Annotated[
        bool, typer.Option("--history", help="Only the values that were measured: when, how well, what before.")
    ] = False,
) -> None:
    """Print a profile's file."""
    path = find_profile(_kind(kind), name)
    _, text = read_toml(path)
    if history:
        from firmware_host.commissioning.write_back import measured_values  # for those who ask

        found = [f"{each.key} = {each.value}: {each.remark}" for each in measured_values(path)]
        for line in found or ["nothing in it was measured"]:
            output.sentence(line)
        return
    sys.stdout.write(printable(text.replace("\r\n", "\n")))


@profile_app.command("check")
def check_command(
    kind: Annotated[str, typer.Argument(help=_KINDS_TOLD)], name: Annotated[str, typer.Argument()]
) -> None:
    """Check a file or a profile; a job is checked with the machine it names."""
    loaders: dict[ProfileKind, Callable[[str], Setup | Machine | Motor]] = {
        "jobs": load_job,
        "machines": load_machine,
        "motors": load_motor,
    }
    where = _kind(kind)
    if where == "true-machines":
        from firmware_host.simulator.true_machine.loading import load_true_machine  # for those who practise

        load_true_machine(name)
        output.lines([f"{kind} {name}: well-formed"])
        return
    from firmware_host.controller.registry import require_dialect  # for those who check

    described = loaders[where](name)
    if isinstance(described, Setup):
        require_dialect(described.machine.link.dialect, source=described.machine_source)
    elif isinstance(described, Machine):
        require_dialect(described.link.dialect, source=name)
    found = described.remarks if isinstance(described, Setup) else [each.text(name) for each in findings(described)]
    for line in found:
        output.remark(f"warning: {line}", style="yellow")
    output.lines([f"{kind} {name}: well-formed"])


@profile_app.command("new")
def new_command(
    kind: Annotated[str, typer.Argument(help=_KINDS_TOLD)],
    name: Annotated[str, typer.Argument(help="Name of the new profile, or path of the new file (.toml).")],
    from_profile: Annotated[str, typer.Option("--from", metavar="NAME", help="Copy this profile, ask nothing.")] = "",
    machine: Annotated[str, typer.Option("--machine", help="For a job: the machine that it is for.")] = "",
    answer: Annotated[
        list[str] | None,
        typer.Option(metavar="KEY=ANSWER", help="Answer beforehand, and be asked nothing; may be given again."),
    ] = None,
    usual: Annotated[
        bool, typer.Option("--usual", help="Take the usual value where nothing is answered, marked as assumed.")
    ] = False,
) -> None:
    """Ask what it is, check each answer at once, and write a commented file; or copy a profile."""
    where, known = _kind(kind), _FILE_KINDS.get(kind)
    answers = [*(answer or ()), *([f"machine={machine}"] if machine else [])]
    if from_profile or known is None:
        if answer or usual:
            remedy = "Leave out --answer and --usual" + (", or --from" if known is not None else "")
            raise InputError("a copy asks nothing", remedy, key="--answer" if answer else "--usual")
        made = new_profile(where, name, from_profile=from_profile, machine=machine)
        words = "Write your own values into this file, then look at it"
    else:
        from firmware_host.cli.set_up import new_file  # for those who describe something

        if machine and kind != "job":
            raise InputError("only a job names its machine", "Leave it out", key="--machine")
        target = new_target(where, name)
        if sys.stdin.isatty() and not answer and not usual:
            made = new_file.asked(known, target, answers)
        else:
            made = new_file.answered_beforehand(known, target, answers, take_usual=usual)
        words = "Look at it"
    _with_schema(kind, made)
    output.lines([str(made)])
    check = command_line((PROGRAM, "profile", "check", kind, name))
    output.remark(f"{words} with: {check}")


def _kind(word: str) -> ProfileKind:
    if word not in _KINDS:
        raise InputError(f"no profile kind {word!r}", f"Known kinds: {', '.join(_KINDS)}")
    return _KINDS[word]


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command("schema")(schema_command)
    app.add_typer(profile_app, name="profile")
