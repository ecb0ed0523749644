"""Files of Windows. Every function raises `OSError`.

What differs there: a file is opened as text unless O_BINARY is given (a line end becomes two bytes, and Ctrl-Z ends
the text); links can't be refused while opening; nothing writes at a place without moving the file's own place; a file
that somebody has open can't be replaced; and a folder can't be opened.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from firmware_host.system.kinds import NotPlainError, require_plain

_TRIES = 20
_PAUSE_S = 0.01
"""Between tries to replace a file (s): 2 s in all, the last ones wait longest."""
_ACCESS_DENIED = 5
_SHARING_VIOLATION = 32


def _flags() -> int:
    return int(getattr(os, "O_BINARY", 0)) | int(getattr(os, "O_NOINHERIT", 0))


def open_to_read(path: Path, *, links: bool) -> int:
    """Open a plain file to be read; with `links` the file that a link leads to.

    It is looked at first, and again once it is open: names such as CON and NUL are devices in every folder.
    """
    found = os.stat(path, follow_symlinks=links)
    require_plain(found.st_mode)
    return _same(os.open(path, os.O_RDONLY | _flags()), found.st_ino)


def open_to_write(path: Path, mode: int) -> int:
    """Open a plain file to be written, or make it; of the rights `mode` only that to write counts.

    A link is refused before, and where one took its place meanwhile, afterwards.
    """
    try:
        found = os.lstat(path)
    except FileNotFoundError:
        return make(path, mode)
    require_plain(found.st_mode)
    return _same(os.open(path, os.O_WRONLY | _flags(), mode), found.st_ino)


def make(path: Path, mode: int) -> int:
    """Make a file that was not there and open it to be written."""
    return _same(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _flags(), mode), 0)


def _same(descriptor: int, number: int) -> int:
    """The file just opened, if it is plain and has this number; 0 where the file system gives none."""
    try:
        opened = os.fstat(descriptor)
        require_plain(opened.st_mode)
        if number and opened.st_ino and opened.st_ino != number:
            raise NotPlainError(0, "was replaced while it was opened")
    except BaseException:
        os.close(descriptor)
        raise
    return descriptor


def read(descriptor: int, size: int) -> bytes:
    """The next bytes, `size` at the most; none at the end."""
    return os.read(descriptor, size)


def append(descriptor: int, data: bytes) -> int:
    """Write at the end; returns how many bytes were taken."""
    os.lseek(descriptor, 0, os.SEEK_END)
    return os.write(descriptor, data)


def write_at(descriptor: int, data: bytes, place: int) -> int:
    """Write from byte `place` on; returns how many bytes were taken. One owner at a time: it moves the file's place."""
    os.lseek(descriptor, place, os.SEEK_SET)
    return os.write(descriptor, data)


def truncate(descriptor: int, length: int) -> None:
    """Cut the file to `length` bytes."""
    os.ftruncate(descriptor, length)


def sync(descriptor: int) -> None:
    """Return when what was written is on the disk (the file must be open to be written)."""
    os.fsync(descriptor)


def close(descriptor: int) -> None:
    """Close it."""
    os.close(descriptor)


def replace(source: Path, target: Path, pause: Callable[[float], None]) -> None:
    """Put `source` in the place of `target`, tried again while a reader or a virus scanner has `target` open.

    `pause` waits between tries (s). A file in use is told as "access denied" or as a sharing violation, and
    so is one that may not be written at all: which it is shows in the end.
    """
    for number in range(1, _TRIES):
        try:
            os.replace(source, target)
            return
        except PermissionError as error:
            if getattr(error, "winerror", _ACCESS_DENIED) not in (_ACCESS_DENIED, _SHARING_VIOLATION):
                raise
        pause(number * _PAUSE_S)
    os.replace(source, target)


def sync_folder(folder: Path) -> None:
    """Do nothing: a folder can't be opened there to be synced, and the file system keeps a journal of names itself."""
    del folder


def others_may_write(path: Path) -> str:
    """Nothing: the system keeps a user's own folders from the others, and rights of this kind are not there."""
    del path
    return ""
