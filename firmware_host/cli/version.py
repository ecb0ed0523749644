"""`--version`: which version of the program this is."""

from __future__ import annotations

import sys
from importlib import metadata


def say() -> int:
    """Print name and version; returns the status."""
    try:
        found = metadata.version("circumstep")
    except metadata.PackageNotFoundError:
        found = "of a source tree, not installed"
    sys.stdout.write(f"circumstep {found}\n")
    sys.stdout.flush()
    return 0
