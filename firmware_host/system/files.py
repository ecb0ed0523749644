"""Files that are whole or not there, and that are read only where they are plain and small enough.

Nothing is half-written, whenever the power goes; nothing else than a plain file is opened, so that nothing waits for
what a pipe or a device may say. No line end is changed on the way.
"""

from __future__ import annotations

import contextlib
import os
import stat
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Self

from firmware_host.clock import SystemClock
from firmware_host.errors import MissingFileError, UnreadableFileError
from firmware_host.system.kinds import NotPlainError, require_plain

if sys.platform == "win32":
    from firmware_host.system.windows import files as _here
else:
    from firmware_host.system.posix import files as _here

_sleep = SystemClock().sleep
_PIECE = 1 << 16
"""Bytes read at once."""


def read_regular(path: Path, limit: int, *, links: bool = True) -> bytes:
    """All bytes of a plain file that has `limit` of them at the most. Never waits.

    `links`: whether a link in its place is followed, as is right for a file that somebody named, and not for one of a
    folder of ours. Raises `MissingFileError` where nothing is, `UnreadableFileError` for a folder, a pipe, a device, a
    socket, a file that can't be read, and one that is larger.
    """
    return b"".join(_pieces(path, limit, links=links))


def require_plain_or_none(path: Path) -> None:
    """Raise `NotPlainError` (an `OSError`) where a link, or something else than a plain file, stands."""
    with contextlib.suppress(FileNotFoundError):
        require_plain(path.lstat().st_mode)


def is_plain(path: Path) -> bool:
    """Whether a plain file stands there itself; a link is none."""
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except (OSError, ValueError):
        return False


def read_lines(path: Path, limit: int, longest: int, *, links: bool = True) -> Iterator[bytes]:
    """The whole lines of a plain file, each without its line end, read as they are asked for; a rest is left out.

    Raises as `read_regular`, and for a line that has more than `longest` bytes.
    """
    rest, number = b"", 1
    for piece in _pieces(path, limit, links=links):
        *lines, rest = (rest + piece).split(b"\n")
        for line in lines:
            _require_short(path, line, longest, number)
            yield line
            number += 1
        _require_short(path, rest, longest, number)


def _require_short(path: Path, line: bytes, longest: int, number: int) -> None:
    if len(line) > longest:
        raise UnreadableFileError(f"has more than {longest} bytes in a line", "", str(path), line=number)


def _pieces(path: Path, limit: int, *, links: bool) -> Iterator[bytes]:
    try:
        descriptor = _here.open_to_read(path, links=links)
        try:
            size = 0
            while size <= limit and (piece := _here.read(descriptor, min(_PIECE, limit + 1 - size))):
                size += len(piece)
                if size <= limit:
                    yield piece
        finally:
            _here.close(descriptor)
    except FileNotFoundError as error:
        raise MissingFileError("no such file", "Check the path", str(path)) from error
    except NotPlainError as error:
        remedy = f"Name a plain file of {limit} bytes at the most"
        raise UnreadableFileError(error.strerror or "is not a plain file", remedy, str(path)) from error
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the path
        problem = f"cannot be read ({getattr(error, 'strerror', None) or error})"
        raise UnreadableFileError(problem, "Check the path and the file's rights", str(path)) from error
    if size > limit:
        raise UnreadableFileError(f"is larger than {limit} bytes", "Name the right file", str(path))


def others_may_write(path: Path) -> str:
    """How somebody else than this user could write what stands at `path`, a few words; empty where nobody could.

    Looked at are the file, if it is there, and its folder; the system's administrator counts as this user. Windows
    keeps the folders of a user from the others by itself: always empty there. Raises `OSError`.
    """
    return _here.others_may_write(path)


def sync_folder(folder: Path) -> None:
    """Put a folder's list of names on the disk, where that can be asked for. Raises `OSError`."""
    _here.sync_folder(folder)


def write_whole(
    path: Path,
    content: str | bytes,
    *,
    mode: int = 0o644,
    pause: Callable[[float], None] | None = None,
    durable: bool = True,
) -> None:
    """Replace a file whole or not at all: temporary file, sync, rename, sync of the folder. Raises `OSError`.

    Without `durable` nothing is synced: for what is written anew every second, and means nothing after a power cut.

    A text is written as UTF-8 with its line ends as they are. `mode`: the rights of the new file, cut by the process's
    mask. `pause` waits (s) before a file that somebody is reading is tried again, 2 s in all at the most; the system's
    own clock does if it is None.
    """
    data = content.encode() if isinstance(content, str) else content
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    temporary.unlink(missing_ok=True)  # of a process of the same number that died
    try:
        descriptor = _here.make(temporary, mode)
        try:
            _append_all(descriptor, data)
            if durable:
                _here.sync(descriptor)
        finally:
            _here.close(descriptor)
        _here.replace(temporary, path, pause or _sleep)
        if durable:
            sync_folder(path.parent)
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def _append_all(descriptor: int, data: bytes) -> None:
    rest = memoryview(data)
    while rest:
        rest = rest[_here.append(descriptor, bytes(rest[:_PIECE])) :]


class RecordFile:
    """A file that is written on as things happen. It has one owner; raises `OSError` throughout.

    It is made if it isn't there. A link, or anything else than a plain file in its place, is refused.
    """

    def __init__(self, path: Path, mode: int = 0o644) -> None:
        self._descriptor: int | None = _here.open_to_write(path, mode)

    def append(self, data: bytes) -> int:
        """Write at the end; returns how many bytes were taken, fewer than all where the disk is full."""
        return _here.append(self._open(), data)

    def write_at(self, data: bytes, place: int) -> int:
        """Write from byte `place` on; returns how many bytes were taken."""
        return _here.write_at(self._open(), data, place)

    def truncate(self, length: int) -> None:
        """Cut it to `length` bytes."""
        _here.truncate(self._open(), length)

    def sync(self) -> None:
        """Return when what was written is on the disk."""
        _here.sync(self._open())

    def close(self) -> None:
        """Close it; a second call does nothing."""
        descriptor, self._descriptor = self._descriptor, None
        if descriptor is not None:
            _here.close(descriptor)

    def _open(self) -> int:
        if self._descriptor is None:
            raise ValueError("the file is closed")
        return self._descriptor

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
