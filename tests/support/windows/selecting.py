"""`select` as on Windows: of sockets only.

Anything else is WSAENOTSOCK (10038), and to wait for nothing is WSAEINVAL (10022) (Python, `select.select`: file
objects are not acceptable there; Microsoft, "select", error codes). There is no `poll` and no `epoll`.
"""

from __future__ import annotations

import errno
import os
import select as real
import stat
from collections.abc import Sequence
from types import ModuleType
from typing import Any

from tests.support.windows.stand_in import StandIn, win_error


def select(
    read: Sequence[Any], write: Sequence[Any], trouble: Sequence[Any], timeout: float | None = None
) -> tuple[list[Any], list[Any], list[Any]]:
    asked = [*read, *write, *trouble]
    if not asked:
        raise win_error(OSError, errno.EINVAL, 10022, "An invalid argument was supplied")
    for one in asked:
        number = one if isinstance(one, int) else one.fileno()
        if number >= 0 and not stat.S_ISSOCK(os.fstat(number).st_mode):
            text = "An operation was attempted on something that is not a socket"
            raise win_error(OSError, errno.ENOTSOCK, 10038, text)
    return real.select(read, write, trouble, timeout)


def stand_in() -> ModuleType:
    return StandIn(real, select=select)
