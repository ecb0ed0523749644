"""Where files are: those that ship with the package, the user's own, and what the program itself keeps."""

from __future__ import annotations

from pathlib import Path

import platformdirs

_NAME = "circumstep"


def shipped_folder() -> Path:
    """The folder of the profiles that ship with the package (beside the package in a source tree)."""
    package = Path(__file__).resolve().parent
    installed = package / "profiles"
    return installed if installed.is_dir() else package.parent / "profiles"


def user_folder() -> Path:
    """The user's own profiles."""
    return Path(platformdirs.user_config_dir(_NAME, appauthor=False))


def kept_folder(of: str) -> Path:
    """What the program keeps for itself for this user: `of` locks, controllers, gates."""
    return Path(platformdirs.user_state_dir(_NAME, appauthor=False)) / of


def stations_file(*, user: Path | None = None) -> Path:
    """Where the stations are kept; it need not be there. `user`: another folder than the user's own."""
    return (user or user_folder()) / "stations.toml"
