"""A command line that only completes: made of the kept words of all commands, so that a TAB loads no command.

`words.json` is written by `python -m tests.cli.completion.table` from the commands themselves. The shells' scripts, and
what they are told, are the option parser's.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Iterable, Mapping
from importlib import import_module
from inspect import Parameter, Signature
from pathlib import Path
from typing import Any

import typer

from firmware_host.cli.completion.values import Words, words_for
from firmware_host.cli.program import COMPLETION_ASKED_BY, PROGRAM
from firmware_host.errors import InputError

_LINES = ("COMP_WORDS", "_TYPER_COMPLETE_ARGS")
"""The variables in which the scripts hand over what is typed."""
_WORDS = Path(__file__).with_name("words.json")

_SPECIAL = re.compile(r"[\s'\"\\$`&|;<>()*?!]")

_SHELLS = ("bash", "zsh", "fish", "powershell", "pwsh")

Table = Mapping[str, Any]


def run(arguments: list[str]) -> int:
    """Tell a shell what may come next, or give it its script; returns the status.

    Raises `InputError` where no shell is found that could take a script.
    """
    if COMPLETION_ASKED_BY not in os.environ and _shell() not in _SHELLS:
        raise InputError(
            f"what calls the program is none of the shells {', '.join(_SHELLS)}", "Type it into one of them"
        )
    line = " ".join(os.environ.get(name, "") for name in _LINES)
    app = _group(json.loads(_WORDS.read_text(encoding="utf-8")), line.split(), add_completion=True)
    try:
        app(arguments, prog_name=PROGRAM)
    except SystemExit as end:
        return end.code if isinstance(end.code, int) else int(end.code is not None)
    return 0


def _shell() -> str:
    """The shell that the program was typed into; empty where none is found."""
    shellingham = import_module("shellingham")  # untyped, and of no use at a TAB
    try:
        return str(shellingham.detect_shell()[0])
    except shellingham.ShellDetectionFailure:
        return ""


def _group(table: Table, line: Iterable[str], *, add_completion: bool = False) -> typer.Typer:
    """The commands of a table; those that are not in the line have no options yet."""
    said = set(line)
    app = typer.Typer(add_completion=add_completion, help=table["help"], rich_markup_mode=None)
    for name, below in table["commands"].items():
        if "commands" in below:
            app.add_typer(_group(below, said if name in said else ()), name=name, help=below["help"])
        else:
            params = below["params"] if name in said else ()
            app.command(name, help=below["help"])(_command(params))
    if add_completion:
        app.callback()(_command(table["params"]))
    return app


def _command(params: Iterable[Table]) -> Callable[..., None]:
    """A function that does nothing and takes these parameters: all that the option parser looks at."""

    def command(**given: object) -> None:
        del given

    parameters = [_parameter(each) for each in params]
    command.__signature__ = Signature(parameters)  # type: ignore[attr-defined]
    command.__annotations__ = {each.name: each.annotation for each in parameters}
    return command


def _parameter(told: Table) -> Parameter:
    """`values`: what may stand there, None for a switch; `many`: it may be said more than once."""
    kind: Any = bool if told["values"] is None else list[str] if told["many"] else str
    otherwise = False if told["values"] is None else None
    given: dict[str, Any] = {"help": told["help"]}
    if told["values"] is not None:
        given["autocompletion"] = _completing(words_for(told["values"]))
    if told["options"]:
        default = typer.Option(otherwise, *told["options"], **given)
    else:
        default = typer.Argument(otherwise, **given)
    return Parameter(told["name"], Parameter.KEYWORD_ONLY, default=default, annotation=kind)


def _completing(words: Words) -> Callable[[typer.Context, str], list[str]]:
    def complete(context: typer.Context, incomplete: str) -> list[str]:
        found = [word for word in words(incomplete, context.params) if word.startswith(incomplete)]
        if os.environ.get(COMPLETION_ASKED_BY) != "complete_bash":
            return found
        return [_SPECIAL.sub(r"\\\g<0>", word) for word in found]  # bash puts them into the line as they are

    return complete
