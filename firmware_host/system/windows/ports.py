"""Serial lines of Windows."""

from __future__ import annotations

import errno
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


def is_missing(error: BaseException) -> bool:
    """Whether a line could not be opened because it is not there; what pyserial keeps is a text, as in `is_busy`."""
    return getattr(error, "errno", None) == errno.ENOENT or "FileNotFoundError(" in str(error)


def is_denied(error: BaseException) -> bool:
    """Never told apart: Windows says so of a line that another program has, and lets every user open the others."""
    del error
    return False


def how_to_be_let_in(name: str) -> str:
    """What a user who may not open the device can do."""
    del name
    return "Ask whoever looks after this computer for the right to use it"
