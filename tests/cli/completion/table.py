"""The words of all commands, as completion knows them. `python -m tests.cli.completion.table` writes them anew."""

from __future__ import annotations

import json
from typing import Any

from firmware_host.cli.completion import app
from firmware_host.commissioning.procedures.registry import PROCEDURES
from firmware_host.controller.registry import dialect_names
from firmware_host.model.plausible.ranges import USUAL_BAUD
from firmware_host.planning.limits.registry import LIMITS
from firmware_host.planning.preview.wrong import AS_PLANNED, WRONG_NUMBERS
from firmware_host.reporting.export.registry import FORMATS
from firmware_host.reporting.pictures.of_run.registry import RUN_PICTURES
from firmware_host.reporting.pictures.registry import PICTURES
from firmware_host.simulator.boards import board_names
from firmware_host.station.gates.gate import gate_kinds
from tests.cli.whole import every_command

FILE = app._WORDS
_LIMITS = [each.name for each in LIMITS]
_PROCEDURES = [each.key for each in PROCEDURES]
_FILE_KINDS = ["job", "machine", "motor", "true-machine"]
_OWN_GATES = [kind for kind in gate_kinds() if kind != "extension"]

#: What may stand where the help says this.
BY_METAVAR: dict[str, str | list[str]] = {
    "JOB": "job",
    "JOB|RUN": "job or run",
    "JOB|RUN|BATCH|RECORD": "job or run",
    "MACHINE": "machine",
    "MACHINE|JOB": "machine or job",
    "[JOB|MACHINE]": "machine or job",
    "RUN": "run",
    "[WHAT]": [each.key for each in (*PICTURES, *RUN_PICTURES)],
    "WHAT": [each.key for each in (AS_PLANNED, *WRONG_NUMBERS)],
    "[CHECK]": _LIMITS,
    "NAME[=REASON]": _LIMITS,
    "PROCEDURE": _PROCEDURES,
    "[PROCEDURE]...": _PROCEDURES,
    "FORMAT": ["table", *(each.name for each in FORMATS)],
    "KIND": _OWN_GATES,
    "FILE": "file",
    "FILE|tcp:PORT": "file",
    "FILE.csv": "file",
    "COUNT|FILE.csv": "file",
    "FOLDER": "folder",
    "DIR": "folder",
}
#: What may be said behind an option, whatever its help calls it.
BY_OPTION: dict[str, str | list[str]] = {
    "--machine": "machine",
    "--true-machine": "true machine",
    "--station": "station",
    "--port": "port",
    "--baud": [str(rate) for rate in USUAL_BAUD],
    "--dialect": list(dialect_names()),
    "--board": list(board_names()),
    "--from": "profile",
}
#: What stands at a place of one command.
BY_PLACE: dict[str, str | list[str]] = {
    "run --from": "anything",
    "schema kind": [*_FILE_KINDS, "state"],
    **{f"profile {verb} kind": _FILE_KINDS for verb in ("show", "check", "new")},
    **{f"profile {verb} name": "profile" for verb in ("show", "check")},
    **{f"station {verb} name": "station" for verb in ("change", "show", "use", "forget")},
}


def table() -> dict[str, Any]:
    """All commands, and the parameters of the program itself."""
    group = every_command()
    return {**_group(group, ""), "help": "", "params": [_parameter(each, "") for each in group.params if each.opts]}


def _group(group: Any, path: str) -> dict[str, Any]:
    below = {name: _command(command, f"{path} {name}".strip()) for name, command in sorted(group.commands.items())}
    return {"help": _first_line(group.help), "commands": below}


def _command(command: Any, path: str) -> dict[str, Any]:
    if hasattr(command, "commands"):
        return _group(command, path)
    shown = [each for each in command.params if not getattr(each, "hidden", False) and each.name != "help"]
    return {"help": _first_line(command.help), "params": [_parameter(each, path) for each in shown]}


def _first_line(text: str | None) -> str:
    return " ".join((text or "").partition("\n\n")[0].split())


def _parameter(told: Any, path: str) -> dict[str, Any]:
    option = told.param_type_name == "option"
    return {
        "name": told.name,
        "options": [*told.opts, *told.secondary_opts] if option else [],
        "help": _first_line(told.help),
        "values": _values(told, path),
        "many": bool(told.multiple or told.nargs == -1),
    }


def _values(told: Any, path: str) -> str | list[str] | None:
    if getattr(told, "is_flag", False):
        return None
    place = f"{path} {told.opts[0]}"
    if place in BY_PLACE:
        return BY_PLACE[place]
    if told.opts[0] in BY_OPTION:
        return BY_OPTION[told.opts[0]]
    choices = getattr(told.type_descriptor, "choices", None)
    if choices:
        return [str(getattr(each, "value", each)) for each in choices]
    return BY_METAVAR.get(told.metavar or "", "anything")


def text() -> str:
    """The file as it is kept: a parameter a line."""
    return json.dumps(table(), indent=1, ensure_ascii=True, sort_keys=True) + "\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8")
