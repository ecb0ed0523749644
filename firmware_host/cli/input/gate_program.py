"""The program of a command gate, as it is named on the command line."""

from __future__ import annotations

from typing import Annotated

import typer

from firmware_host.errors import InputError
from firmware_host.system.processes import split_command

ProgramOption = Annotated[
    str,
    typer.Option(
        "--gate-program",
        metavar="COMMAND",
        help="Program for the job's command gate with its arguments, as one text; no shell is used. Put a path with "
        "spaces into quotation marks inside of it.",
    ),
]


def words_of_program(gate_program: str) -> tuple[str, ...]:
    """The gate's program and its arguments, taken apart as this system's shell would."""
    try:
        return split_command(gate_program)
    except ValueError as error:
        problem = f"{gate_program!r} is no command ({error})"
        raise InputError(problem, "Close every quotation mark", key="--gate-program") from error
