"""What a person can do about an error: the command of each act, quoted for the shell at hand."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields, replace
from types import MappingProxyType
from typing import Any

from firmware_host import acts
from firmware_host.acts import Act
from firmware_host.cli.program import PROGRAM
from firmware_host.errors import FirmwareHostError
from firmware_host.system.console import command_line


def advice_lines(todo: Iterable[Act]) -> list[str]:
    """What each act is for, and its command."""
    return list(dict.fromkeys(line for act in todo for line in _lines(act)))


def _lines(act: Act) -> list[str]:
    line = f"{_words(act)}: {command(act)}"
    if isinstance(act, acts.Resume) and act.asks:
        return ["To answer beforehand, resume with --assume done or --assume not-done.", line]
    return [line]


def _words(act: Act) -> str:
    if isinstance(act, acts.Run | acts.Redo):
        return _WORDS_OF_ZERO.get(act.zero, _WORDS[type(act)])
    return _WORDS[type(act)]


@contextmanager
def completing_acts(**called_with: str | tuple[str, ...]) -> Iterator[None]:
    """Inside, an error's acts that leave open their `job`, `machine`, `port` and the like get those of this command."""
    try:
        yield
    except FirmwareHostError as error:
        error.acts = tuple(completed(act, called_with) for act in error.acts)
        raise


def completed(act: Act, called_with: Mapping[str, str | tuple[str, ...]]) -> Act:
    """The act, with what it leaves open as the command was called."""
    left_open = {field.name for field in fields(act) if getattr(act, field.name) in ("", ())}
    return replace(act, **{name: value for name, value in called_with.items() if name in left_open})


def command(act: Act) -> str:
    """The whole command of an act, as it is typed."""
    return command_line((PROGRAM, *arguments(act)))


def arguments(act: Act) -> tuple[str, ...]:
    """The words of an act's command behind the program's name. Raises `KeyError` for an act that has no command."""
    return _ARGUMENTS[type(act)](act)


def _resume(act: acts.Resume) -> tuple[str, ...]:
    return (
        *("resume", act.run, *_given("--baud", act.baud), *_given("--zero", act.zero)),
        *(*_given("--gate-program", act.gate_program), *_flag("--without-marking", act.without_marking)),
    )


def _run(act: acts.Run) -> tuple[str, ...]:
    return (
        *("run", act.job or "JOB", *_at(act.port), *_given("--baud", act.baud), *_given("--zero", act.zero)),
        *(*_choosing(act.only, act.first), *_given("--parts", act.parts), *_given("--next-after", act.next_after)),
        *(*_accepting(act.accepted), *_given("--gate-program", act.gate_program), *_given("--runs", act.runs)),
        *_flag("--without-marking", act.without_marking),
        *_flag("--release-motor", act.release_motor),
    )


def _jog(act: acts.Jog) -> tuple[str, ...]:
    of, diameter = (act.of or "MACHINE", *_at(act.port)), _given("--diameter", act.diameter)
    way = (*_given("--by", act.by), *_given("--to", act.to))
    return ("jog", *of, *diameter, *way, *_flag("--write-settings", act.write_settings))


def _measure(act: acts.Measure) -> tuple[str, ...]:
    """Of one procedure, or of the list."""
    what = ("measure", act.procedure, act.of or "MACHINE") if act.procedure else ("run", act.of or "MACHINE", *act.only)
    options = ("turns", "repeats", "read_to", "angle_to", "diameter", "gate_program", "record", "baud")
    return (
        *("commission", *what, *_at(act.port)),
        *(word for name in options for word in _given(f"--{name.replace('_', '-')}", getattr(act, name))),
        *(*_flag("--again", act.again), *_flag("--write", act.write), *_flag("--write-settings", act.write_settings)),
    )


def _redo(act: acts.Redo) -> tuple[str, ...]:
    return (
        *("redo", act.run, "--segments", act.segments or "SEGMENTS", *_given("--passes", act.passes)),
        *(*_given("--baud", act.baud), *_given("--zero", act.zero), *_given("--gate-program", act.gate_program)),
        *_flag("--without-marking", act.without_marking),
        *_flag("--release-motor", act.release_motor),
    )


def _given(option: str, value: str) -> tuple[str, ...]:
    return (option, value) if value else ()


def _flag(option: str, wished: bool) -> tuple[str, ...]:
    return (option,) if wished else ()


def _at(port: str, machine: str = "") -> tuple[str, ...]:
    return (*_given("--machine", machine), *_given("--port", port))


def _with_program(act: acts.NameGateProgram) -> tuple[str, ...]:
    if act.run and act.segments:
        again: Act = acts.Redo(act.run, act.segments, act.each, act.said_zero, gate_program=_PROGRAM, baud=act.baud)
    elif act.run:
        again = acts.Resume(act.run, act.said_zero, gate_program=_PROGRAM, baud=act.baud)
    else:
        same = {name: getattr(act, name) for name in _AS_ASKED}
        again = acts.Run(act.job, act.port, act.said_zero, gate_program=_PROGRAM, **same)
    return arguments(again)


def _write_settings(act: acts.WriteSettings) -> tuple[str, ...]:
    return (*_SETTINGS, "write", act.job or "JOB", *_at(act.port), *_accepting(act.accepted))


def _choosing(only: str, first: str) -> tuple[str, ...]:
    return (*_given("--only", only), *_given("--from", first))


def _accepting(accepted: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(word for each in accepted for word in ("--accept-limit", each))


_PROGRAM = "PROGRAM ARGUMENT"
_AS_ASKED = ("only", "first", "accepted", "baud", "runs", "parts", "next_after")
"""What a run with a program has in common with the one that lacked it."""
_SETTINGS = ("controller", "settings")

_ARGUMENTS: Mapping[type[Act], Callable[[Any], tuple[str, ...]]] = MappingProxyType(
    {
        acts.FindControllers: lambda act: ("controller", "find", *_at(act.at)),
        acts.WriteSettings: _write_settings,
        acts.RestoreSettings: lambda act: (*_SETTINGS, "restore", act.backup, *_at(act.new_port)),
        acts.ClearOffset: lambda act: ("controller", "clear-offset", *_at(act.port, act.machine or "MACHINE")),
        acts.Unlock: lambda act: ("controller", "unlock", *_at(act.port, act.machine)),
        acts.Resume: _resume,
        acts.Run: _run,
        acts.Jog: _jog,
        acts.Measure: _measure,
        acts.Redo: _redo,
        acts.NameGateProgram: _with_program,
        acts.VerifyRun: lambda act: ("runs", "verify", act.run),
        acts.ListProfiles: lambda act: ("profile", "list"),
        acts.ListStations: lambda act: ("station", "list"),
        acts.ShowSchema: lambda act: ("schema", act.kind),
        acts.DrawWrong: lambda act: ("preview", act.job or "JOB", "--wrong", act.wrong, "--output", act.output),
    }
)

_WORDS: Mapping[type[Act], str] = MappingProxyType(
    {
        acts.FindControllers: "Find the controller with",
        acts.WriteSettings: "Write the settings with",
        acts.RestoreSettings: "Bring the old settings back with",
        acts.ClearOffset: "Take the offset back with",
        acts.Unlock: "Unlock with",
        acts.Resume: "Resume with",
        acts.Run: "Run it with",
        acts.Jog: "Turn it by hand with",
        acts.Measure: "Resume measuring with",
        acts.Redo: "Mark them again with",
        acts.NameGateProgram: "Name the program with",
        acts.VerifyRun: "See where with",
        acts.ListProfiles: "See all profiles with",
        acts.ListStations: "See all stations with",
        acts.ShowSchema: "See the keys with",
        acts.DrawWrong: "See what that looks like with",
    }
)

_WORDS_OF_ZERO: Mapping[str, str] = MappingProxyType(
    {
        "here": "If the part stands at the new run's zero now",
        "home": "To seek the home switch and begin there",
        "last": "To turn the part back to that run's zero and begin there",
        "set": "To begin at the zero that was set by hand",
    }
)
