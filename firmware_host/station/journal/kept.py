"""Folders and files beside a journal: made anew, saved whole or not at all, read back within bounds."""

from __future__ import annotations

from pathlib import Path

from firmware_host.errors import DamagedRunError, JournalError, MissingFileError, UnreadableFileError
from firmware_host.system.files import read_regular, sync_folder, write_whole

_MOST = 999


def new_folder(parent: Path, stem: str, full: JournalError) -> Path:
    """Make a folder below `parent` named `stem`, or stem-2 and so on where that is taken.

    Raises `JournalError` if it can't be made, and `full` where a thousand are there already.
    """
    for number in range(1, _MOST + 1):
        path = parent / (stem if number == 1 else f"{stem}-{number}")
        try:
            path.mkdir()
            sync_folder(parent)
        except FileExistsError:
            continue
        except OSError as error:
            raise JournalError(str(path), f"cannot be made ({error.strerror})") from error
        return path
    raise full


def save_kept(path: Path, text: str) -> None:
    """Write a file whole or not at all. Raises `JournalError` when it can't be written."""
    try:
        write_whole(path, text)
    except OSError as error:
        raise JournalError(str(path), f"cannot be written ({error.strerror})") from error


def read_kept(path: Path, limit: int) -> bytes:
    """A file of at most `limit` bytes; links are not followed. Raises `DamagedRunError` if it can't be read."""
    try:
        return read_regular(path, limit, links=False)
    except UnreadableFileError as error:
        problem = "is missing" if isinstance(error, MissingFileError) else error.problem
        raise DamagedRunError(str(path), problem) from error
