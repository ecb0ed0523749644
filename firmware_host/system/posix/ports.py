"""Serial lines of Linux, macOS and their like."""

from __future__ import annotations

import errno
import os
import stat
import sys

_BUSY = frozenset({errno.EAGAIN, errno.EWOULDBLOCK, errno.EBUSY})
_ANSWERING, _CALLING = "/dev/tty.", "/dev/cu."
"""On macOS each line has two devices, one that waits for a caller and one that doesn't."""
_DENIED = frozenset({errno.EACCES, errno.EPERM})


def device(name: str) -> str:
    """The device that `name` leads to, by whatever links."""
    path = os.path.realpath(name)
    return _CALLING + path.removeprefix(_ANSWERING) if path.startswith(_ANSWERING) else path


def is_busy(error: BaseException) -> bool:
    """Whether a line could not be opened because another program has it."""
    return getattr(error, "errno", None) in _BUSY


def is_missing(error: BaseException) -> bool:
    """Whether a line could not be opened because it is not there."""
    return getattr(error, "errno", None) in (errno.ENOENT, errno.ENXIO, errno.ENODEV)


def is_denied(error: BaseException) -> bool:
    """Whether a line could not be opened because this user may not."""
    return getattr(error, "errno", None) in _DENIED


def how_to_be_let_in(name: str) -> str:
    """What a user who may not open the device can do. `usermod` as its manual page has it (Linux)."""
    group = _group_with_rights(name)
    if not group:
        return "Ask whoever looks after this computer for the right to read and write it"
    if sys.platform == "linux":
        joined = f'join it with "sudo usermod -a -G {group} $USER", then log out and in again'
    else:
        joined = "let whoever looks after this computer put you into it, then log out and in again"
    return f"It belongs to group {group}: {joined}"


def _group_with_rights(name: str) -> str:
    """The group whose users may read and write a device; empty if there is none."""
    if sys.platform == "win32":
        return ""
    import grp  # seldom needed

    try:
        about = os.stat(name)
        both = stat.S_IRGRP | stat.S_IWGRP
        return grp.getgrgid(about.st_gid).gr_name if about.st_mode & both == both else ""
    except (OSError, KeyError):
        return ""
