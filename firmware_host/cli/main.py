"""The `circumstep` command: calls the command that is asked for and turns every error into a message and a status."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Callable
from importlib import import_module
from typing import Annotated, Any

import typer

from firmware_host.cli.commands import Commands
from firmware_host.cli.program import COMPLETION_ASKED_BY, PROGRAM
from firmware_host.system import console, signals

CAUTION = (
    "Software is no safety function: emergency stop, guards and interlocks are hardware (ISO 12100, ISO 13849-1, "
    "ISO 13850). Laser safety: IEC 60825-1, ISO 11553-1. Rollers and chucks pinch and entangle; support heavy parts. "
    "Never plug or unplug a motor while its driver is powered. Follow local codes; licensed work is for the licensed."
)

_INTERRUPTED = 130
"""What the option parser makes of Ctrl-C."""

_NEW_OBJECTS = 100_000
"""After so many, Python looks for garbage (else after 700): hardly anything that a start makes is any."""

app = typer.Typer(
    cls=Commands,
    help=f"Turn round parts, segment by segment, under a marking laser.\n\n{CAUTION}",
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},  # of every command below, too
    add_completion=False,
    pretty_exceptions_enable=False,
)


@app.callback()
def _options(
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of an error.")] = False,
    version: Annotated[bool, typer.Option("--version", help="Say which version this is.")] = False,
    install: Annotated[bool, typer.Option("--install-completion", help="Let this shell complete with TAB.")] = False,
    show: Annotated[bool, typer.Option("--show-completion", help="Show what the shell needs for that.")] = False,
) -> None:
    """All are taken out of the words before."""


def main() -> None:
    """Run the command line and end the process with its status."""
    gc.set_threshold(_NEW_OBJECTS)
    console.prepare_streams()
    signals.interrupt_when_asked()
    status = run(sys.argv[1:])
    gc.freeze()  # else Python looks for garbage in all that is loaded, several times, before the process ends
    sys.exit(status)


def run(arguments: list[str]) -> int:
    """Run the command line; returns the exit status.

    `--debug` and `--version` may stand anywhere in `arguments` before a `--`: what is behind it is for another program.
    """
    end = arguments.index("--") if "--" in arguments else len(arguments)
    given = [*(word for word in arguments[:end] if word != "--debug"), *arguments[end:]]
    try:
        if "--version" in given[:end]:
            return int(import_module("firmware_host.cli.version").say())
        if COMPLETION_ASKED_BY in os.environ or (given and given[0] in ("--install-completion", "--show-completion")):
            act = import_module("firmware_host.cli.completion.app").run
        else:
            act = _command
        return _run(given, act, debug=len(given) < len(arguments))
    except BrokenPipeError:  # whoever read our output has gone: nobody is left to tell
        console.discard_output()
        return int(_endings().READER_GONE)


def _command(arguments: list[str]) -> object:
    return app(arguments, standalone_mode=False, prog_name=PROGRAM)


def _run(arguments: list[str], act: Callable[[list[str]], object], *, debug: bool) -> int:
    """Let `act` have the words; every error but that of a vanished reader becomes a message and a status."""
    try:
        status = act(arguments)
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except SystemExit as error:  # how the option parser ends when a reader goes away while a command prints
        if isinstance(error.__context__, BrokenPipeError):
            raise error.__context__ from error
        raise
    except (Exception, KeyboardInterrupt) as error:  # noqa: BLE001  every error ends here as a message
        return int(_endings().ended_by(error, debug=debug))
    if status == _INTERRUPTED:
        return int(_endings().interrupted(debug=debug))
    return status if isinstance(status, int) else 0


def _endings() -> Any:
    """What is needed only when something went wrong."""
    return import_module("firmware_host.cli.endings")
