"""Files that are whole or not there: nothing is half-written, whenever the power goes."""

from __future__ import annotations

import os
from pathlib import Path


def sync_folder(folder: Path) -> None:
    """Put a folder's list of names on the disk. Raises `OSError`."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def write_whole(path: Path, text: str) -> None:
    """Replace a file whole or not at all: temporary file, fsync, rename, fsync of the folder. Raises `OSError`."""
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with temporary.open("w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
        sync_folder(path.parent)
    finally:
        temporary.unlink(missing_ok=True)
