"""Serial lines of Linux, macOS and their like."""

from __future__ import annotations

import errno
import os

_BUSY = frozenset({errno.EAGAIN, errno.EWOULDBLOCK, errno.EBUSY})
_ANSWERING, _CALLING = "/dev/tty.", "/dev/cu."
"""On macOS each line has two devices, one that waits for a caller and one that doesn't."""


def device(name: str) -> str:
    """The device that `name` leads to, by whatever links."""
    path = os.path.realpath(name)
    return _CALLING + path.removeprefix(_ANSWERING) if path.startswith(_ANSWERING) else path


def is_busy(error: BaseException) -> bool:
    """Whether a line could not be opened because another program has it."""
    return getattr(error, "errno", None) in _BUSY
