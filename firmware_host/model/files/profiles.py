"""Where descriptions come from: a path, or a name in the user's own folder, the current one, or among the shipped."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Literal, NamedTuple

from firmware_host.errors import InputError, UnreadableFileError
from firmware_host.folders import shipped_folder, user_folder
from firmware_host.model.files.files import read_toml

ProfileKind = Literal["machines", "motors", "jobs", "true-machines"]
_EXAMPLES: Mapping[ProfileKind, str] = MappingProxyType(
    {
        "jobs": "shaft-scale",
        "machines": "belt-chuck",
        "motors": "nema23-short",
        "true-machines": "worn-belt-chuck",
    }
)

_KEYS: Mapping[ProfileKind, frozenset[str]] = MappingProxyType(
    {
        "jobs": frozenset({"machine", "part", "mark", "window"}),
        "machines": frozenset({"motor", "driver", "gearing", "drive", "axis", "link"}),
        "motors": frozenset({"rated_current", "holding_torque", "full_steps_per_revolution", "step_angle"}),
        "true-machines": frozenset({"ratio", "train", "slip", "load", "home", "reading", "drift_at_power_off"}),
    }
)
"""Any of these keys tells a file's kind; a true machine may have a part and a motor besides."""


Origin = Literal["own", "here", "shipped"]
"""The user's own folder, the current folder, the package: in this order a name is looked for."""


class Profile(NamedTuple):
    """A profile's name, file and origin; `hides`: the origins of those of the same name that it is taken before."""

    kind: ProfileKind
    name: str
    path: Path
    origin: Origin
    hides: tuple[Origin, ...] = ()

    @property
    def shipped(self) -> bool:
        """Whether it came with the package."""
        return self.origin == "shipped"


def list_profiles(kind: ProfileKind, *, user: Path | None = None, here: Path | None = None) -> list[Profile]:
    """All profiles of a kind by name: the user's own hide those of the current folder, and both the shipped ones.

    `user`: another folder than the user's own; `here`: another than the current one.
    """
    found: dict[str, Profile] = {}
    places: tuple[tuple[Origin, Iterator[Path]], ...] = (
        ("shipped", _files(shipped_folder() / kind)),
        ("here", _of_kind(kind, here or Path())),
        ("own", _files((user or user_folder()) / kind)),
    )
    for origin, paths in places:
        for path in paths:
            hidden = found.get(path.stem)
            hides = () if hidden is None else (hidden.origin, *hidden.hides)
            found[path.stem] = Profile(kind, path.stem, path, origin, hides)
    return [found[name] for name in sorted(found)]


def _files(folder: Path) -> Iterator[Path]:
    if folder.is_dir():
        yield from (path for path in sorted(folder.iterdir()) if path.suffix == ".toml")


def _of_kind(kind: ProfileKind, folder: Path) -> Iterator[Path]:
    """The files of a folder where anything may lie that are of this kind; what can't be read is left out."""
    return (path for path in _files(folder) if _is_of_kind(kind, path, if_unreadable=False))


def _is_of_kind(kind: ProfileKind, path: Path, *, if_unreadable: bool) -> bool:
    """Whether a file is of this kind by its keys. One that is not there is of none."""
    if not path.is_file():
        return False
    try:
        tables, _ = read_toml(path)
    except UnreadableFileError:
        return if_unreadable
    is_true = not _KEYS["true-machines"].isdisjoint(tables)
    return is_true if kind == "true-machines" else not is_true and not _KEYS[kind].isdisjoint(tables)


def is_machine(reference: str, *, user: Path | None = None) -> bool:
    """Whether `reference`, a path or a name, means a machine, and no job."""
    if is_path(reference):
        return _is_of_kind("machines", Path(reference), if_unreadable=False)
    named = {kind for kind in ("jobs", "machines") if named_profile(kind, reference, user=user) is not None}
    return named == {"machines"}


def find_profile(kind: ProfileKind, reference: str, *, beside: Path | None = None, user: Path | None = None) -> Path:
    """The file that `reference` means: a path if it holds a separator or ends in .toml, else a profile's name.

    `beside` is the folder a relative path starts from (that of the file that names it); the working folder without.
    A name is looked for in the user's own folder, then in the current one, then among the shipped profiles. Raises
    `UnreadableFileError`, naming the nearest known profile.
    """
    if is_path(reference):
        path = Path(reference)
        return path if path.is_absolute() or beside is None else beside / path
    named = named_profile(kind, reference, user=user)
    if named is not None:
        return named.path
    from firmware_host.acts import ListProfiles

    problem = f"no {kind[:-1]} profile has this name"
    raise UnreadableFileError(problem, _hint(kind, reference, beside, user), source=reference, acts=(ListProfiles(),))


def named_profile(kind: ProfileKind, name: str, *, user: Path | None = None) -> Profile | None:
    """The profile that a name means, None where there is none; a file here that can't be read counts."""
    file = f"{name}.toml"
    own, here, shipped = (user or user_folder()) / kind / file, Path(file), shipped_folder() / kind / file
    if own.is_file():
        return Profile(kind, name, own, "own")
    if _is_of_kind(kind, here, if_unreadable=True):
        return Profile(kind, name, here, "here")
    return Profile(kind, name, shipped, "shipped") if shipped.is_file() else None


def is_path(reference: str) -> bool:
    """Whether a reference to a file is its path, and not a profile's name."""
    return "/" in reference or "\\" in reference or reference.endswith(".toml")


def _hint(kind: ProfileKind, reference: str, beside: Path | None, user: Path | None) -> str:
    if beside is not None and (beside / f"{reference}.toml").is_file():
        return f"Write '{reference}.toml' for the file beside this one"
    names = [profile.name for profile in list_profiles(kind, user=user)]
    close = difflib.get_close_matches(reference, names, n=1, cutoff=0.4)
    return f"Did you mean {close[0]!r}?" if close else "A path ends in .toml."


def new_profile(
    kind: ProfileKind, name: str, *, from_profile: str = "", machine: str = "", user: Path | None = None
) -> Path:
    """Copy `from_profile` (a usual one without it) to a new file, to be filled in; returns its path.

    `name` is the name of a profile of one's own, or a path that ends in .toml. `machine`: for a job, the machine that
    it names (a profile's name, or a path from here). Raises `InputError` for a name that is none, a machine that is
    not there or that is named for another kind, a file that is there already, and where it can't be written.
    """
    target = new_target(kind, name, user=user)
    _, text = read_toml(find_profile(kind, from_profile or _EXAMPLES[kind], user=user))
    if machine:
        text = _with_machine(kind, text, machine, target, user)
    write_new(target, text)
    return target


def new_target(kind: ProfileKind, name: str, *, user: Path | None = None) -> Path:
    """Where a new file of that name goes: a path that ends in .toml, or a profile of one's own. Raises `InputError`."""
    if name.endswith(".toml"):
        return Path(name)
    return (user or user_folder()) / kind / f"{_profile_name(name)}.toml"


def refuse_existing(target: Path) -> None:
    """Raise `InputError` where a file is there already."""
    if target.exists():
        raise _there_already(target)


def _there_already(target: Path) -> InputError:
    return InputError("is there already", "Choose another name; the old file is kept", source=str(target))


def write_new(target: Path, text: str) -> None:
    """Write a file that may not be there yet, and its folder. Raises `InputError`."""
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("x", encoding="utf-8", newline="") as file:
            file.write(text)
    except FileExistsError as error:
        raise _there_already(target) from error
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", "Name another place", source=str(target)) from error


def _with_machine(kind: ProfileKind, text: str, machine: str, target: Path, user: Path | None) -> str:
    """The text of a job with another machine, which is found from the job's file at `target`; comments stay."""
    if kind != "jobs":
        raise InputError("only a job names its machine", "Leave it out", key="machine")
    path = find_profile("machines", machine, user=user)
    read_toml(path)
    import tomlkit  # takes a while, and only this needs it

    beside = is_path(machine) and target.parent != Path()
    document = tomlkit.parse(text)
    document["machine"] = str(path.absolute()) if beside else machine
    return tomlkit.dumps(document)


def _profile_name(name: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}", name):
        raise InputError(
            f"{name[:100]!r} is no profile name", "Use letters, digits, dots and dashes; a path ends in .toml"
        )
    return name
