"""Arguments that several commands take."""

from __future__ import annotations

from typing import Annotated

import typer

JobArgument = Annotated[str, typer.Argument(metavar="JOB", help="A job file (.toml), or the name of a job profile.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document and nothing else.")]
PortOption = Annotated[
    str, typer.Option("--port", help="Device path, socket:// or rfc2217:// URL (default: the machine file's).")
]
BaudOption = Annotated[int | None, typer.Option("--baud", help="Line speed (default: the machine file's).")]
AcceptOption = Annotated[
    list[str] | None,
    typer.Option(
        "--accept-limit",
        metavar="NAME[=REASON]",
        help="Accept that this limit fails, or is not known; may be given again.",
    ),
]
