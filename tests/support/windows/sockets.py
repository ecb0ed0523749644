"""`socket` as on Windows: who may bind an address that somebody has bound.

- With SO_REUSEADDR on both sockets the second one takes the address, listening or not: that option steals there.
- With SO_EXCLUSIVEADDRUSE on the first, or none, it is refused: WSAEACCES (10013) where the second asked to reuse it,
  WSAEADDRINUSE (10048) otherwise.
- Both options on one socket are refused: WSAEINVAL (10022).
- No option is needed to bind again after a connection was closed.

Source: Microsoft, "Using SO_REUSEADDR and SO_EXCLUSIVEADDRUSE", table of bind results (for equal addresses).
"""

from __future__ import annotations

import errno
import socket as real
from types import ModuleType
from typing import Any

from tests.support.windows.stand_in import StandIn, win_error

SO_EXCLUSIVEADDRUSE = ~real.SO_REUSEADDR


class Socket(real.socket):
    """A socket of Winsock."""

    _reuse = False
    _exclusive = False
    __slots__ = ("__dict__",)

    def setsockopt(self, level: int, option: int, *value: Any) -> None:
        if level != real.SOL_SOCKET or option not in (real.SO_REUSEADDR, SO_EXCLUSIVEADDRUSE):
            super().setsockopt(level, option, *value)
            return
        if value[0] and (self._exclusive if option == real.SO_REUSEADDR else self._reuse):
            raise win_error(OSError, errno.EINVAL, 10022, "An invalid argument was supplied")
        if option == real.SO_REUSEADDR:
            self._reuse = bool(value[0])
        else:
            self._exclusive = bool(value[0])

    def getsockopt(self, level: int, option: int, *size: Any) -> Any:
        if level == real.SOL_SOCKET and option in (real.SO_REUSEADDR, SO_EXCLUSIVEADDRUSE):
            return int(self._reuse if option == real.SO_REUSEADDR else self._exclusive)
        return super().getsockopt(level, option, *size)

    def bind(self, address: Any) -> None:
        super().setsockopt(real.SOL_SOCKET, real.SO_REUSEADDR, 1)
        super().setsockopt(real.SOL_SOCKET, real.SO_REUSEPORT, int(self._reuse))
        try:
            super().bind(address)
        except OSError as error:
            if error.errno != errno.EADDRINUSE:
                raise
            if self._reuse:
                text = "An attempt was made to access a socket in a way forbidden by its access permissions"
                raise win_error(PermissionError, errno.EACCES, 10013, text) from None
            text = "Only one usage of each socket address (protocol/network address/port) is normally permitted"
            raise win_error(OSError, errno.EADDRINUSE, 10048, text) from None


def create_server(
    address: Any, *, family: int = real.AF_INET, backlog: int | None = None, reuse_port: bool = False, **more: Any
) -> Socket:
    """Python sets SO_REUSEADDR here on POSIX only."""
    if reuse_port:
        raise ValueError("SO_REUSEPORT not supported on this platform")
    made = Socket(family, real.SOCK_STREAM)
    try:
        made.bind(address)
        made.listen() if backlog is None else made.listen(backlog)
    except OSError:
        made.close()
        raise
    return made


def stand_in() -> ModuleType:
    return StandIn(real, socket=Socket, SO_EXCLUSIVEADDRUSE=SO_EXCLUSIVEADDRUSE, create_server=create_server)
