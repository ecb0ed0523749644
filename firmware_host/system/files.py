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


def write_whole(path: Path, text: str, *, mode: int = 0o644) -> None:
    """Replace a file whole or not at all: temporary file, fsync, rename, fsync of the folder. Raises `OSError`.

    `mode`: the rights of the new file, cut by the process's mask.
    """
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    temporary.unlink(missing_ok=True)  # of a process of the same number that died
    try:
        descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, mode)
        with open(descriptor, "w", encoding="utf-8") as file:  # noqa: PTH123  a descriptor, for its rights
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
        sync_folder(path.parent)
    finally:
        temporary.unlink(missing_ok=True)
