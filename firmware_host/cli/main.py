"""The `circumstep` command: calls the command that is asked for and turns every error into a message and a status."""

from __future__ import annotations

import sys
import traceback
from typing import Annotated

import typer
from typer.exceptions import TyperException

from firmware_host.cli.commands import Commands
from firmware_host.cli.screen import output
from firmware_host.cli.screen.advice import advice_lines
from firmware_host.errors import EXIT_BAD_INPUT, EXIT_DONE, EXIT_LINK_FAULT, EXIT_STOPPED, FirmwareHostError
from firmware_host.system import console, signals

CAUTION = (
    "Software is no safety function: emergency stop, guards and interlocks are hardware (ISO 12100, ISO 13849-1, "
    "ISO 13850). Laser safety: IEC 60825-1, ISO 11553-1. Rollers and chucks pinch and entangle; support heavy parts. "
    "Never plug or unplug a motor while its driver is powered. Follow local codes; licensed work is for the licensed."
)

_INTERRUPTED = 130
"""What the option parser makes of Ctrl-C."""

app = typer.Typer(
    cls=Commands,
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


def main() -> None:
    """Run the command line and end the process with its status."""
    console.prepare_streams()
    signals.interrupt_when_asked()
    sys.exit(run(sys.argv[1:]))


def run(arguments: list[str]) -> int:
    """Run the command line; returns the exit status. `--debug` may stand anywhere in `arguments`."""
    given = [word for word in arguments if word != "--debug"]
    try:
        return _run(given, debug=len(given) < len(arguments))
    except BrokenPipeError:  # whoever read our output has gone: nobody is left to tell
        console.discard_output()
        return EXIT_STOPPED


def _run(arguments: list[str], *, debug: bool) -> int:
    """Run a command; every error but that of a vanished reader becomes a message and a status."""
    try:
        status = app(arguments, standalone_mode=False, prog_name="circumstep")
        sys.stdout.flush()
        if status == _INTERRUPTED:
            return _failed("interrupted", EXIT_STOPPED, debug=debug)
        return status if isinstance(status, int) else EXIT_DONE
    except BrokenPipeError:
        raise
    except SystemExit as error:  # how the option parser ends when a reader goes away while a command prints
        if isinstance(error.__context__, BrokenPipeError):
            raise error.__context__ from error
        raise
    except FirmwareHostError as error:
        notes = "".join(f"\n  {note}" for note in getattr(error, "__notes__", ()))
        advice = "".join(f"\n  {line}" for line in advice_lines(error.acts))
        return _failed(f"error: {error}{notes}{advice}", error.exit_status, debug=debug)
    except TyperException as error:
        return _failed(
            f"error: {error.format_message().rstrip('.')}. See circumstep --help", EXIT_BAD_INPUT, debug=debug
        )
    except (typer.Abort, KeyboardInterrupt):
        return _failed("interrupted", EXIT_STOPPED, debug=debug)
    except OSError as error:
        if console.is_reader_gone(error):
            raise BrokenPipeError from error
        where = f"{error.filename}: " if error.filename is not None else ""
        return _failed(f"error: {where}{error.strerror or error}", EXIT_LINK_FAULT, debug=debug)
    except Exception as error:  # noqa: BLE001  every error ends here as a message
        words = f"internal error: {type(error).__name__}: {error}. Run again with --debug"
        return _failed(words, EXIT_LINK_FAULT, debug=debug)


def _failed(text: str, status: int, *, debug: bool) -> int:
    """Say what went wrong, with the traceback if it was asked for; returns the status."""
    if debug:
        output.remark(traceback.format_exc().rstrip())
    output.remark(text, style="bold red")
    return status
