"""Browsers of Linux, macOS and their like."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

if sys.platform == "win32":
    raise ImportError("not on Windows")

_NAMES = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "microsoft-edge",
    "microsoft-edge-stable",
)
_APPS = ("Chromium", "Google Chrome", "Microsoft Edge")
_FOLDERS = (Path("/Applications"), Path("~/Applications"))


def places() -> Iterator[str]:
    """On the path, as Linux distributions name them; behind those, the applications of macOS."""
    for name in _NAMES:
        if (found := shutil.which(name)) is not None:
            yield found
    for folder in _FOLDERS:
        for app in _APPS:
            program = folder.expanduser() / f"{app}.app" / "Contents" / "MacOS" / app
            if program.is_file():
                yield str(program)


def needed_options() -> tuple[str, ...]:
    """For root it starts only without its sandbox."""
    return ("--no-sandbox",) if os.geteuid() == 0 else ()
