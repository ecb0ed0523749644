"""How a command ends that did not end well: every error becomes a message and a status."""

from __future__ import annotations

import traceback

import typer
from typer.exceptions import TyperException

from firmware_host.cli.program import PROGRAM
from firmware_host.cli.screen import output
from firmware_host.cli.screen.advice import advice_lines
from firmware_host.errors import EXIT_BAD_INPUT, EXIT_LINK_FAULT, EXIT_STOPPED, FirmwareHostError
from firmware_host.system import console

READER_GONE = EXIT_STOPPED
"""The status where whoever read the output has gone."""


def interrupted(*, debug: bool) -> int:
    """Say that the command was interrupted; returns the status."""
    return _failed("interrupted", EXIT_STOPPED, debug=debug)


def ended_by(error: BaseException, *, debug: bool) -> int:
    """Say what ended the command, inside its handler; returns the status. A reader that has gone: `BrokenPipeError`."""
    if isinstance(error, FirmwareHostError):
        notes = "".join(f"\n  {note}" for note in getattr(error, "__notes__", ()))
        advice = "".join(f"\n  {line}" for line in advice_lines(error.acts))
        return _failed(f"error: {error}{notes}{advice}", error.exit_status, debug=debug)
    if isinstance(error, TyperException):
        told = error.format_message().rstrip(".") or "no command is named"  # where its help was printed instead
        stop = "" if told.endswith("'?") else "."
        words = f"error: {told}{stop} See {_command_of(error)} --help"
        return _failed(words, EXIT_BAD_INPUT, debug=debug)
    if isinstance(error, typer.Abort | KeyboardInterrupt):
        return interrupted(debug=debug)
    if isinstance(error, OSError):
        if console.is_reader_gone(error):
            raise BrokenPipeError from error
        where = f"{error.filename}: " if error.filename is not None else ""
        return _failed(f"error: {where}{error.strerror or error}", EXIT_LINK_FAULT, debug=debug)
    words = f"internal error: {type(error).__name__}: {error}. Run again with --debug"
    return _failed(words, EXIT_LINK_FAULT, debug=debug)


def _command_of(error: TyperException) -> str:
    """The command whose words were wrong; the program's name where none was reached."""
    context = getattr(error, "ctx", None)
    return context.command_path if context is not None else PROGRAM


def _failed(text: str, status: int, *, debug: bool) -> int:
    """Say what went wrong, with the traceback if it was asked for; returns the status."""
    if debug:
        output.remark(traceback.format_exc().rstrip())
    output.remark(text, style="bold red")
    return status
