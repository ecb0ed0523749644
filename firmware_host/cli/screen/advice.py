"""What a person can do about an error: the command of each act, quoted for the shell."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType
from typing import Any

from firmware_host import acts
from firmware_host.acts import Act


def advice_lines(todo: Iterable[Act]) -> list[str]:
    """One line for each act: what it is for, and its command."""
    return [f"{_WORDS[type(act)]}: {command(act)}" for act in dict.fromkeys(todo)]


def command(act: Act) -> str:
    """The whole command of an act, as it is typed."""
    return shlex.join(("circumstep", *arguments(act)))


def arguments(act: Act) -> tuple[str, ...]:
    """The words of an act's command behind the program's name. Raises `KeyError` for an act that has no command."""
    return _ARGUMENTS[type(act)](act)


def _resume(act: acts.Resume) -> tuple[str, ...]:
    zero = ("--zero", "set-anew") if act.zero_set_anew else ()
    dry = ("--without-marking",) if act.without_marking else ()
    return ("resume", act.run, *zero, *dry)


def _port(url: str) -> tuple[str, ...]:
    return ("--port", url) if url else ()


_SETTINGS = ("controller", "settings")

_ARGUMENTS: Mapping[type[Act], Callable[[Any], tuple[str, ...]]] = MappingProxyType(
    {
        acts.FindControllers: lambda act: ("controller", "find"),
        acts.WriteSettings: lambda act: (*_SETTINGS, "write", act.job or "JOB", *_port(act.port)),
        acts.RestoreSettings: lambda act: (*_SETTINGS, "restore", act.backup),
        acts.ClearOffset: lambda act: ("controller", "clear-offset", *_port(act.port)),
        acts.Unlock: lambda act: ("controller", "unlock", *_port(act.port)),
        acts.Resume: _resume,
        acts.ListProfiles: lambda act: ("profile", "list"),
        acts.ShowSchema: lambda act: ("schema", act.kind),
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
        acts.ListProfiles: "See all profiles with",
        acts.ShowSchema: "See the keys with",
    }
)
