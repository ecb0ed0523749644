"""A simulated device behind a pseudo-terminal."""

from __future__ import annotations

import fcntl
import os
import pty
import struct
import sys
import termios
import tty
from pathlib import Path

from firmware_host.clock import Clock
from firmware_host.errors import LinkError, PortUnavailableError
from firmware_host.simulator.device import SimulatedDevice
from firmware_host.simulator.serving.server import DeviceServer
from firmware_host.system.sockets import Waitable

if sys.platform == "win32":
    raise ImportError("not on Windows")

READ_SIZE = 4096
TERMINALS = ("/dev/pts/", "/dev/ttys")
"""How the names of pseudo-terminals begin, on Linux and on macOS."""


class PtyServer(DeviceServer):
    """Serves on a pseudo-terminal in raw mode; `link`, if given, is a symbolic link to it, made and removed here.

    Opening a pseudo-terminal resets nothing: the device greets when it is powered up. Many clients flush their input
    when they open a port; as long as no client has sent anything, the first such flush does not cost the greeting: it
    is said again. The server keeps the terminal open itself, so clients may come and go.
    """

    def __init__(self, device: SimulatedDevice, clock: Clock, link: Path | None = None) -> None:
        super().__init__(device, clock)
        self._link = link
        self._path = ""
        self._master = self._slave = -1
        self._first_words: bytes | None = b""

    @property
    def url(self) -> str:
        if not self._path:
            raise LinkError(url="pseudo-terminal", detail="the server has not been started")
        return str(self._link) if self._link is not None else self._path

    def _open(self) -> None:
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        fcntl.ioctl(self._master, termios.TIOCPKT, struct.pack("i", 1))
        self._path = os.ttyname(self._slave)
        if self._link is not None:
            self._make_link(self._link)

    def _make_link(self, link: Path) -> None:
        try:
            if link.is_symlink() and (not link.exists() or str(link.readlink()).startswith(TERMINALS)):
                link.unlink()  # left behind by a server that was killed
            link.symlink_to(self._path)
        except OSError as error:
            for descriptor in (self._master, self._slave):
                os.close(descriptor)
            raise PortUnavailableError(url=str(link), detail=f"cannot make this link: {error.strerror}") from error

    def _close(self) -> None:
        if self._link is not None and self._link.is_symlink() and str(self._link.readlink()) == self._path:
            self._link.unlink()
        for descriptor in (self._slave, self._master):
            os.close(descriptor)

    def _watched(self) -> list[Waitable]:
        return [self._master]

    def _line_out(self) -> Waitable | None:
        return self._master

    def _write(self, data: bytes) -> int:
        return os.write(self._master, data)

    def _take(self) -> bytes:
        """Read a packet: a byte that says what happened on the terminal, then the data if that byte is 0.

        Source: the Linux manual page `ioctl_tty(2)`, section "Packet mode".
        """
        try:
            packet = os.read(self._master, READ_SIZE)
        except BlockingIOError:
            return b""
        if packet[0] == termios.TIOCPKT_DATA:
            self._first_words = None
            return packet[1:]
        if packet[0] & termios.TIOCPKT_FLUSHREAD and self._first_words:
            self._unsent = self._first_words
            self._first_words = None
        return b""

    def _note_said(self, said: bytes) -> None:
        if self._first_words is not None:
            self._first_words += said
