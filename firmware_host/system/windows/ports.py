"""Serial lines of Windows."""

from __future__ import annotations

import re

_DEVICE = re.compile(r"(?:[\\/]{2}[.?][\\/])?(.+?):?", re.DOTALL)


def device(name: str) -> str:
    r"""One name for each device: `com3`, `COM3:` and `\\.\COM3` are `COM3`."""
    found = _DEVICE.fullmatch(name)
    return (found[1] if found else name).upper()


def is_busy(error: BaseException) -> bool:
    """Whether a line could not be opened because another program has it.

    Windows says "access is denied" then. pyserial keeps no more of it than a text: the name of Python's kind of error,
    and the system's words in the user's language.
    """
    return isinstance(error, PermissionError) or "PermissionError(" in str(error)
