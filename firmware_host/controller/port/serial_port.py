"""Ports on real lines: a device path, `socket://host:port` or `rfc2217://host:port`."""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType
from typing import Protocol, cast

import serial

from firmware_host.acts import FindControllers
from firmware_host.clock import Clock
from firmware_host.controller.port.lock import PortLock
from firmware_host.controller.port.modem_lines import InputLine, OutputLine
from firmware_host.controller.port.port import Port
from firmware_host.errors import InputError, PortBusyError, PortLostError, PortUnavailableError
from firmware_host.system.ports import how_to_be_let_in, is_busy, is_denied, is_missing

SCHEMES = ("socket://", "rfc2217://")
TICK_S = 0.01
"""How often a waiting read looks at the clock (s of the clock); bytes wake it at once.

It is set when the port is opened and never after: pyserial sets the whole port anew with it, which takes milliseconds
on Windows and may spoil bytes on their way (its issues 391 and 394).
"""
EXACT_S = 0.02
"""The end of a wait (s) is slept in short pieces: a port's own time-out may be late by a step of the system's timer,
15.6 ms on Windows (from memory), where sleeping is exact (from Python 3.11 on)."""
PIECE_S = 0.001
_SHORTEST_TICK_S = 0.0005
_INPUT_NAMES = MappingProxyType({InputLine.CTS: "cts", InputLine.DSR: "dsr", InputLine.DCD: "cd"})
_NO_SUCH_LINES = frozenset({errno.ENOTTY, errno.EINVAL})
WRITE_S = 2.0
"""How long a line may take to be handed over (s of the clock)."""
_MOST_READ = 1 << 16
"""Bytes handed out at once at the most: whoever talks without a pause is heard piece by piece."""


class _Line(Protocol):
    """What is used of a pyserial port."""

    @property
    def in_waiting(self) -> int: ...
    def read(self, size: int = 1) -> bytes: ...
    def write(self, data: bytes) -> int | None: ...
    def close(self) -> None: ...


class SerialPort(Port):
    """A pyserial port under a lock. Made by `open_port`."""

    def __init__(self, url: str, line: _Line, lock: PortLock, clock: Clock) -> None:
        self.url = url
        self._line: _Line | None = line
        self._lock = lock
        self._clock = clock

    def write(self, data: bytes) -> None:
        line = self._open_line()
        try:
            line.write(data)
        except (OSError, serial.SerialException) as error:
            raise PortLostError(self.url, f"cannot be written: {error}") from error

    def read(self, timeout_s: float) -> bytes:
        line = self._open_line()
        deadline_s = self._clock.monotonic() + timeout_s
        try:
            while True:
                left_s = deadline_s - self._clock.monotonic()
                data = bytearray(line.read(1) if left_s > EXACT_S or line.in_waiting else b"")
                while data and len(data) < _MOST_READ and (waiting := line.in_waiting):
                    data += line.read(min(waiting, _MOST_READ - len(data)))
                if data or left_s <= 0:
                    return bytes(data)
                if left_s <= EXACT_S:
                    self._clock.sleep(min(left_s, PIECE_S))
        except (OSError, serial.SerialException) as error:
            raise PortLostError(self.url, f"cannot be read: {error}") from error

    def set_line(self, line: OutputLine, on: bool) -> None:
        with self._modem(line.name) as port:
            setattr(port, line.value, on)

    def line(self, line: InputLine) -> bool:
        with self._modem(line.name) as port:
            return bool(getattr(port, _INPUT_NAMES[line]))

    @contextmanager
    def _modem(self, name: str) -> Iterator[_Line]:
        """The open line. What it can't do is told apart from a port that is gone."""
        port = self._open_line()
        if self.url.lower().startswith("socket://"):
            raise PortUnavailableError(self.url, f"is a plain socket and has no modem lines ({name})")
        try:
            yield port
        except (OSError, serial.SerialException) as error:
            if error.errno in _NO_SUCH_LINES:
                raise PortUnavailableError(
                    self.url, f"has no modem lines ({name}), as a pseudo-terminal has none"
                ) from error
            raise PortLostError(self.url, f"{name} cannot be used: {error}") from error

    def close(self) -> None:
        line, self._line = self._line, None
        if line is None:
            return
        connection = getattr(line, "_socket", None)  # pyserial leaves it open when the peer hung up first
        try:
            line.close()
        finally:
            if connection is not None:
                connection.close()
            self._lock.release()

    def _open_line(self) -> _Line:
        if self._line is None:
            raise PortLostError(self.url, "is closed")
        return self._line


def open_port(url: str, *, baud: int, clock: Clock, lock_folder: Path | None = None) -> Port:
    """Open `url` at `baud` (bit/s, 8 data bits, no parity, 1 stop bit) as its only owner.

    `clock` must be one whose time passes by itself. Opening resets many boards. Locks are kept in `lock_folder`
    (default: the user's state folder). Raises InputError for another kind of URL or a baud rate that isn't positive,
    PortBusyError with the holder's process id, PortUnavailableError.
    """
    if "://" in url and not url.lower().startswith(SCHEMES):
        raise InputError(
            f"port {url!r} is of an unknown kind", f"Give a device path, or {' or '.join(SCHEMES)}HOST:PORT"
        )
    if baud <= 0:
        raise InputError(f"baud rate {baud} bit/s is not above 0", "Write the board's: 115200 is usual", key="baud")
    lock = PortLock(url, lock_folder)
    lock.acquire()
    try:
        line = _open_line(url, baud, clock)
    except BaseException:
        lock.release()
        raise
    return SerialPort(url, line, lock, clock)


def _open_line(url: str, baud: int, clock: Clock) -> _Line:
    options: dict[str, object] = {} if "://" in url else {"exclusive": True}
    tick_s = max(clock.real_seconds(TICK_S), _SHORTEST_TICK_S)
    write_s = max(clock.real_seconds(WRITE_S), 0.1)
    try:
        line = serial.serial_for_url(url, baudrate=baud, timeout=tick_s, write_timeout=write_s, **options)
    except (OSError, ValueError) as error:  # SerialException is an OSError
        if is_busy(error):
            raise PortBusyError(url, "another program holds it: close that one") from error
        if "://" not in url and is_missing(error):
            detail = "cannot be opened: there is none of this name. Check the cable and the name"
            raise PortUnavailableError(url, detail, acts=(FindControllers(),)) from error
        if "://" not in url and is_denied(error):
            raise PortUnavailableError(url, f"cannot be opened: this user may not. {how_to_be_let_in(url)}") from error
        raise PortUnavailableError(url, f"cannot be opened: {error}") from error
    return cast("_Line", line)
