"""The kinds of line that the contract is run over: none at all, a pseudo-terminal, a loopback socket.

Time is virtual on all of them: what a board says at an instant goes through the system's own line and through the real
port, and is taken up before the clock goes on.
"""

from __future__ import annotations

import os
import select
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

import pytest

from firmware_host.clock import SystemClock, VirtualClock
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.serial_port import open_port
from firmware_host.errors import PortLostError
from firmware_host.simulator.device import SimulatedDevice
from tests.contract.rig import Rig, rig
from tests.contract.spoken import Case
from tests.support.memory_port import MemoryPort

Kind = Literal["memory", "pty", "socket"]
KINDS: tuple[Kind, ...] = ("memory", "pty", "socket")
NEEDS = {"pty": pytest.mark.posix("a pseudo-terminal")}
"""What a kind of line can't do without."""
_REAL_S = 10.0
"""How long (s) bytes may be on their way through the system."""
_PORTION = 512
"""Bytes on the line at a time: a pseudo-terminal holds some thousand."""


class Cable:
    """A real line: `near` is the port that the program opens, `far` the descriptor of its other end."""

    def __init__(self, kind: Kind, folder: Path) -> None:
        if kind == "pty":
            self._far, near = os.openpty()
            self.near: Port = open_port(os.ttyname(near), baud=115200, clock=SystemClock(), lock_folder=folder)
            os.close(near)
            return
        with socket.create_server(("127.0.0.1", 0)) as server:
            url = f"socket://127.0.0.1:{server.getsockname()[1]}"
            self.near = open_port(url, baud=115200, clock=SystemClock(), lock_folder=folder)
            peer, _ = server.accept()
            peer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._far = peer.detach()

    def to_far(self, data: bytes) -> bytes:
        """Send `data` through; what came out."""
        self.near.write(data)
        came = b""
        while len(came) < len(data):
            ready, _, _ = select.select([self._far], [], [], _REAL_S)
            assert ready, f"{data!r} got lost on the line"
            came += os.read(self._far, len(data) - len(came))
        return came

    def to_near(self, data: bytes, portion: int) -> bytes:
        """Send `data` through, `portion` bytes at a time; what came out."""
        came = b""
        for start in range(0, len(data), portion):
            piece = data[start : start + portion]
            os.write(self._far, piece)
            while len(came) < start + len(piece):
                read = self.near.read(_REAL_S)
                assert read, f"{data!r} got lost on the line"
                came += read
        return came

    def pull(self) -> None:
        """The other end goes away; a second call does nothing."""
        far, self._far = self._far, -1
        if far >= 0:
            os.close(far)

    def close(self) -> None:
        self.near.close()
        self.pull()


def wired(kind: Kind, base: type[MemoryPort], folder: Path, cables: list[Cable]) -> type[MemoryPort]:
    """`base`, its bytes going through a real line of that kind. Every cable laid is noted in `cables`."""

    class WiredPort(base):  # type: ignore[misc, valid-type]
        _cable: Cable | None = None

        def _line(self) -> Cable:
            if self._cable is None:
                self._cable = Cable(kind, folder)
                cables.append(self._cable)
            return self._cable

        def _depart(self, data: bytes) -> bytes:
            return self._line().to_far(super()._depart(data))

        def _arrive(self, data: bytes) -> bytes:
            data = super()._arrive(data)
            return self._line().to_near(data, getattr(self, "_size", _PORTION)) if data else b""

        def close(self) -> None:
            super().close()
            cable, self._cable = self._cable, None
            if cable is not None:
                cable.close()

        def _check(self) -> None:
            try:
                super()._check()
            except PortLostError:
                if self.closed:
                    raise
                self._line().pull()
                self._line().near.read(_REAL_S)  # the real port has to tell it
                raise AssertionError("a pulled cable was not told") from None

    return WiredPort


class Wire:
    """Makes rigs on one kind of line, and takes their cables away at the end."""

    def __init__(self, kind: Kind, folder: Path) -> None:
        self.kind = kind
        self._folder = folder
        self._cables: list[Cable] = []

    def rig(self, case: Case, base: type[MemoryPort] = MemoryPort, *arguments: Any) -> Rig:
        """A rig whose port is a `base`, made with device, clock and `arguments`."""
        kind = base if self.kind == "memory" else wired(self.kind, base, self._folder, self._cables)
        make: Callable[[SimulatedDevice, VirtualClock], MemoryPort] = lambda device, clock: kind(  # noqa: E731
            device, clock, *arguments
        )
        return rig(case, make)

    def few(self, samples: int) -> int:
        """How many samples to take: fewer where the bytes go through the system."""
        return samples if self.kind == "memory" else max(2, samples // 6)

    def close(self) -> None:
        for cable in self._cables:
            cable.close()
