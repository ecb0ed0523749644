"""Where descriptions come from: a path, the user's config folder, or the profiles that ship with the package."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Literal, NamedTuple

import platformdirs

from firmware_host.errors import InputError, UnreadableFileError
from firmware_host.model.files.files import read_toml

ProfileKind = Literal["machines", "motors", "jobs"]
_EXAMPLES: Mapping[ProfileKind, str] = MappingProxyType(
    {"jobs": "shaft-scale", "machines": "belt-chuck", "motors": "nema23-short"}
)


def shipped_folder() -> Path:
    """The folder of the profiles that ship with the package (beside the package in a source tree)."""
    package = Path(__file__).resolve().parents[2]
    installed = package / "profiles"
    return installed if installed.is_dir() else package.parent / "profiles"


def user_folder() -> Path:
    """The user's own profiles."""
    return Path(platformdirs.user_config_dir("circumstep", appauthor=False))


class Profile(NamedTuple):
    """A profile's name, file and origin."""

    kind: ProfileKind
    name: str
    path: Path
    shipped: bool


def list_profiles(kind: ProfileKind, *, user: Path | None = None) -> list[Profile]:
    """All profiles of a kind by name; a user's own hides a shipped one of the same name."""
    found: dict[str, Profile] = {}
    for folder, shipped in ((shipped_folder(), True), (user or user_folder(), False)):
        for path in _files(folder / kind):
            found[path.stem] = Profile(kind, path.stem, path, shipped)
    return [found[name] for name in sorted(found)]


def _files(folder: Path) -> Iterator[Path]:
    if folder.is_dir():
        yield from (path for path in sorted(folder.iterdir()) if path.suffix == ".toml")


def find_profile(kind: ProfileKind, reference: str, *, beside: Path | None = None, user: Path | None = None) -> Path:
    """The file that `reference` means: a path if it holds a separator or ends in .toml, else a profile's name.

    `beside` is the folder a relative path starts from (that of the file that names it); the working folder without.
    Raises `UnreadableFileError`, naming the nearest known profile.
    """
    if "/" in reference or "\\" in reference or reference.endswith(".toml"):
        path = Path(reference)
        return path if path.is_absolute() or beside is None else beside / path
    profiles = {profile.name: profile for profile in list_profiles(kind, user=user)}
    if reference in profiles:
        return profiles[reference].path
    from firmware_host.acts import ListProfiles

    close = difflib.get_close_matches(reference, profiles, n=1, cutoff=0.4)
    hint = f"Did you mean {close[0]!r}?" if close else "A path ends in .toml."
    raise UnreadableFileError(f"no {kind[:-1]} profile has this name", hint, source=reference, acts=(ListProfiles(),))


def new_profile(kind: ProfileKind, name: str, *, like: str = "", user: Path | None = None) -> Path:
    """Make a file from the profile `like` (a usual one without it), to be filled in; returns its path.

    `name` is the name of a profile of one's own, or a path that ends in .toml. Raises `InputError` for a name that is
    none, for a file that is there already, and where it can't be written.
    """
    folder = (user or user_folder()) / kind
    target = Path(name) if name.endswith(".toml") else folder / f"{_profile_name(name)}.toml"
    _, text = read_toml(find_profile(kind, like or _EXAMPLES[kind], user=user))
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("x", encoding="utf-8", newline="") as file:
            file.write(text)
    except FileExistsError as error:
        problem, remedy = "is there already", "Choose another name; the old file is kept"
        raise InputError(problem, remedy, source=str(target)) from error
    except OSError as error:
        raise InputError(f"cannot be written ({error.strerror})", "Name another place", source=str(target)) from error
    return target


def _profile_name(name: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,99}", name):
        raise InputError(
            f"{name[:100]!r} is no profile name", "Use letters, digits, dots and dashes; a path ends in .toml"
        )
    return name
