"""The `circumstep` command: puts the command groups together and turns every error into a message and a status."""

from __future__ import annotations

import os
import sys
from typing import Annotated

import typer
from typer.exceptions import TyperException

from firmware_host.cli import controller_commands, demo, file_commands, output, plan_commands, run_commands
from firmware_host.errors import EXIT_BAD_INPUT, EXIT_LINK_FAULT, EXIT_STOPPED, FirmwareHostError

CAUTION = (
    "Software is no safety function: emergency stop, guards and interlocks are hardware (ISO 12100, ISO 13849-1, "
    "ISO 13850). Laser safety: IEC 60825-1, ISO 11553-1. Rollers and chucks pinch and entangle; support heavy parts. "
    "Never plug or unplug a motor while its driver is powered. Follow local codes; licensed work is for the licensed."
)

app = typer.Typer(
    help=f"Turn round parts, segment by segment, under a marking laser.\n\n{CAUTION}",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


@app.callback()
def _options(
    debug: Annotated[bool, typer.Option("--debug", help="Show the traceback of an error.")] = False,
) -> None:
    pass


for group in (demo, plan_commands, run_commands, controller_commands, file_commands):
    group.register(app)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and end the process with its status."""
    given = sys.argv[1:] if arguments is None else arguments
    sys.exit(run(given, debug="--debug" in given))


def run(arguments: list[str], *, debug: bool = False) -> int:
    """Run the command line; returns the exit status."""
    try:
        status = app(arguments, standalone_mode=False, prog_name="circumstep")
    except FirmwareHostError as error:
        if debug:
            raise
        output.remark(f"error: {error}", style="bold red")
        return error.exit_status
    except TyperException as error:
        output.remark(f"error: {error}. See circumstep --help", style="bold red")
        return EXIT_BAD_INPUT
    except (typer.Abort, KeyboardInterrupt):
        output.remark("interrupted", style="bold red")
        return EXIT_STOPPED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return EXIT_LINK_FAULT
    except Exception as error:
        if debug:
            raise
        output.remark(f"internal error: {type(error).__name__}: {error}. Run again with --debug", style="bold red")
        return EXIT_LINK_FAULT
    return status if isinstance(status, int) else 0
