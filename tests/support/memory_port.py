"""A port that joins a simulated device to a virtual clock in one thread, and that a test can look into and spoil."""

from __future__ import annotations

from collections.abc import Callable

from firmware_host.cli.turn.virtual_port import VirtualPort
from firmware_host.clock import VirtualClock
from firmware_host.errors import PortLostError
from firmware_host.simulator.device import SimulatedDevice


class MemoryPort(VirtualPort):
    """`written` is every write so far.

    `spoil` may change or drop what the device says (called with each portion); `on_write` is told of every write before
    it arrives. After `pull_cable` every use raises PortLostError.
    """

    def __init__(self, device: SimulatedDevice, clock: VirtualClock, url: str = "memory://device") -> None:
        super().__init__(device, clock, url)
        self.written: list[bytes] = []
        self.spoil: Callable[[bytes], bytes] = lambda data: data
        self.on_write: Callable[[bytes], None] = lambda data: None
        self.lost = False

    @property
    def sent(self) -> bytes:
        """All bytes written, joined."""
        return b"".join(self.written)

    def pull_cable(self) -> None:
        """From now on the port is gone; the device goes on by itself."""
        self.lost = True

    def write(self, data: bytes) -> None:
        self._check()
        self.on_write(data)
        self._check()
        self.written.append(data)
        super().write(data)

    def _arrive(self, data: bytes) -> bytes:
        return self.spoil(data)

    def _check(self) -> None:
        if self.lost:
            raise PortLostError(self.url, "the cable is pulled")
        super()._check()
