"""What the program shows, kept as a file that a reader can look through."""

from __future__ import annotations

import os
from pathlib import Path


def kept(path: Path, text: str) -> str:
    """What is kept in a file; with CIRCUMSTEP_WRITE_SCREENS set, `text` is written there first."""
    if os.environ.get("CIRCUMSTEP_WRITE_SCREENS"):
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return path.read_text(encoding="utf-8")
