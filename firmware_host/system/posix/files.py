"""Files of Linux, macOS and their like. Every function raises `OSError`."""

from __future__ import annotations

import fcntl
import os
import stat
import sys
from collections.abc import Callable
from pathlib import Path

from firmware_host.system.kinds import require_plain

if sys.platform == "win32":
    raise ImportError("not on Windows")

_WHOLE_SYNC: int | None = getattr(fcntl, "F_FULLFSYNC", None)


def open_to_read(path: Path, *, links: bool) -> int:
    """Open a plain file to be read; with `links` the file that a link leads to. Never waits.

    It is looked at first: opening a pipe waits for its writer, opening a serial line resets many boards. It is looked
    at again once it is open, because something else may have taken its place.
    """
    require_plain(os.stat(path, follow_symlinks=links).st_mode)
    return _plain(os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY | (0 if links else os.O_NOFOLLOW)))


def open_to_write(path: Path, mode: int) -> int:
    """Open a plain file to be written, or make it with the rights `mode`; links are not followed."""
    try:
        require_plain(os.lstat(path).st_mode)
    except FileNotFoundError:
        pass
    return _plain(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_NOCTTY, mode))


def make(path: Path, mode: int) -> int:
    """Make a file that was not there, with the rights `mode`, and open it to be written."""
    return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW, mode)


def _plain(descriptor: int) -> int:
    try:
        require_plain(os.fstat(descriptor).st_mode)
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
    """Write from byte `place` on; returns how many bytes were taken."""
    return os.pwrite(descriptor, data, place)


def truncate(descriptor: int, length: int) -> None:
    """Cut the file to `length` bytes."""
    os.ftruncate(descriptor, length)


def sync(descriptor: int) -> None:
    """Return when what was written is on the disk.

    macOS hands an fsync to the drive, which may keep it in its memory for a while; there a whole sync is asked for, and
    an fsync where the file system has none (its own manual, fsync(2)).
    """
    if _WHOLE_SYNC is not None:
        try:
            fcntl.fcntl(descriptor, _WHOLE_SYNC)
            return
        except OSError:
            pass  # a network drive or a memory stick
    os.fsync(descriptor)


def close(descriptor: int) -> None:
    """Close it."""
    os.close(descriptor)


def replace(source: Path, target: Path, pause: Callable[[float], None]) -> None:
    """Put `source` in the place of `target`; whoever reads the old file reads it to its end."""
    del pause
    os.replace(source, target)


def sync_folder(folder: Path) -> None:
    """Put a folder's list of names on the disk."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        sync(descriptor)
    finally:
        os.close(descriptor)


def others_may_write(path: Path) -> str:
    """How somebody else than this user could write the file at `path`; empty where nobody could."""
    for what, looked_at in (("its folder", path.parent), ("the file", path)):
        try:
            found = os.stat(looked_at)
        except FileNotFoundError:
            continue
        if found.st_uid not in (0, os.geteuid()):
            return f"{what} belongs to another user"
        if stat.S_ISDIR(found.st_mode) and found.st_mode & stat.S_ISVTX:
            continue  # there nobody may replace what is another's
        if found.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
            return f"{what} may be written by others"
    return ""
