"""What may stand at a place of the command line: profiles, files, runs, stations, ports, or a fixed list of words.

It is looked up without the models of the files: a TAB has no time for them. What can't be read offers nothing.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import islice
from pathlib import Path

from firmware_host.folders import shipped_folder, stations_file, user_folder

Words = Callable[[str, Mapping[str, object]], Iterable[str]]
"""What may stand there, by what is typed of it and by what the command line says besides."""

_MOST = 1000
"""Names looked at in a folder."""


def words_for(values: str | list[str]) -> Words:
    """What completes a value: the words of a list, or those of a kind by its name."""
    if isinstance(values, list):
        return lambda typed, given: values
    return _KINDS[values]


def _inside(folder: Path) -> Iterator[os.DirEntry[str]]:
    try:
        with os.scandir(folder) as entries:
            yield from islice(entries, _MOST)
    except OSError:
        return


def _named(kind: str) -> list[str]:
    """The names of the profiles of a kind, and the files of this folder that may be one."""
    found = {
        Path(each.name).stem
        for folder in (shipped_folder(), user_folder())
        for each in _inside(folder / kind)
        if _toml(each)
    }
    return sorted(found)


def _toml(entry: os.DirEntry[str]) -> bool:
    return entry.name.endswith(".toml")


def _files(typed: str, ends: tuple[str, ...] = ("",), *, folders_only: bool = False) -> list[str]:
    """Files below the folder that is typed whose names end so, and folders, each with its slash."""
    before, slash, _ = typed.rpartition("/")
    found = []
    for each in _inside(Path(before + slash or ".")):
        if each.name.startswith(".") and not typed.rpartition("/")[2].startswith("."):
            continue
        if each.is_dir():
            found.append(f"{before}{slash}{each.name}/")
        elif not folders_only and each.name.endswith(ends):
            found.append(f"{before}{slash}{each.name}")
    return sorted(found)


def _profile(kind: str) -> Words:
    return lambda typed, given: [*_named(kind), *_files(typed, (".toml",))]


def _profile_of_kind(typed: str, given: Mapping[str, object]) -> Iterable[str]:
    """A profile of the kind that stands before it."""
    return _profile(f"{given.get('kind')}s")(typed, given)


def _runs(typed: str, given: Mapping[str, object]) -> Iterable[str]:
    """Folders of runs where they are kept by themselves, the newest first; other folders as they are typed."""
    del given
    kept = sorted((f"runs/{each.name}" for each in _inside(Path("runs")) if each.is_dir()), reverse=True)
    return kept if "runs/".startswith(typed) or typed.startswith("runs/") else _files(typed, folders_only=True)


def _stations(typed: str, given: Mapping[str, object]) -> Iterable[str]:
    del typed, given
    try:
        with stations_file().open("rb") as file:
            return sorted(tomllib.load(file).get("stations", {}))
    except (OSError, ValueError, AttributeError, TypeError):
        return ()


def _ports(typed: str, given: Mapping[str, object]) -> Iterable[str]:
    del typed, given
    from firmware_host.system.ports import device_names  # for those who ask for a port

    return device_names()


def _either(*kinds: Words) -> Words:
    return lambda typed, given: dict.fromkeys(word for kind in kinds for word in kind(typed, given))


_KINDS: Mapping[str, Words] = {
    "anything": lambda typed, given: (),
    "job": _profile("jobs"),
    "machine": _profile("machines"),
    "true machine": _profile("true-machines"),
    "profile": _profile_of_kind,
    "run": _runs,
    "job or run": _either(_profile("jobs"), _runs),
    "machine or job": _either(_profile("machines"), _profile("jobs")),
    "station": _stations,
    "port": _ports,
    "file": lambda typed, given: _files(typed),
    "folder": lambda typed, given: _files(typed, folders_only=True),
}
