"""What stands at a path: only a plain file is read or written."""

from __future__ import annotations

import errno
import stat

_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISLNK, "a link"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


class NotPlainError(OSError):
    """Something else than a plain file stands in its place; `strerror` says what."""


def require_plain(mode: int) -> None:
    """Raise `NotPlainError` unless `mode` (`st_mode`) is that of a plain file."""
    if not stat.S_ISREG(mode):
        what = next((name for holds, name in _KINDS if holds(mode)), "something else")
        raise NotPlainError(errno.EINVAL, f"is not a plain file, but {what}")
