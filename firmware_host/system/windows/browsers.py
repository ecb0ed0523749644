"""Browsers of Windows."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from pathlib import Path

if sys.platform != "win32":
    raise ImportError("only on Windows")

_ROOTS = ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA")
_BELOW = (
    "Microsoft/Edge/Application/msedge.exe",
    "Google/Chrome/Application/chrome.exe",
    "Chromium/Application/chrome.exe",
)


def places() -> Iterator[str]:
    """Where their installers put them, for everybody or for one person."""
    for below in _BELOW:
        for root in _ROOTS:
            folder = os.environ.get(root)
            program = Path(folder) / below if folder else None
            if program is not None and program.is_file():
                yield str(program)


def needed_options() -> tuple[str, ...]:
    """None."""
    return ()
