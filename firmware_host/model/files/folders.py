"""Where files are: those that ship with the package, and the user's own."""

from __future__ import annotations

from pathlib import Path

import platformdirs


def shipped_folder() -> Path:
    """The folder of the profiles that ship with the package (beside the package in a source tree)."""
    package = Path(__file__).resolve().parents[2]
    installed = package / "profiles"
    return installed if installed.is_dir() else package.parent / "profiles"


def user_folder() -> Path:
    """The user's own profiles."""
    return Path(platformdirs.user_config_dir("circumstep", appauthor=False))


def stations_file(*, user: Path | None = None) -> Path:
    """Where the stations are kept; it need not be there. `user`: another folder than the user's own."""
    return (user or user_folder()) / "stations.toml"
