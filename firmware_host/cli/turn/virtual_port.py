"""A port that joins a simulated device to a virtual clock in one thread, so that an hour of motion takes no time."""

from __future__ import annotations

from firmware_host.clock import VirtualClock
from firmware_host.controller.port.port import Port
from firmware_host.errors import PortLostError
from firmware_host.simulator.device import SimulatedDevice

_LEAST_ADVANCE_S = 1e-6


class VirtualPort(Port):
    """Bytes written arrive at once; reading lets the clock run on to the device's next event, or to the time-out."""

    def __init__(self, device: SimulatedDevice, clock: VirtualClock, url: str) -> None:
        self.url = url
        self.device = device
        self.clock = clock
        self.closed = False

    def write(self, data: bytes) -> None:
        self._check()
        self.device.receive(self._depart(data), self.clock.monotonic())

    def read(self, timeout_s: float) -> bytes:
        deadline_s = self.clock.monotonic() + timeout_s
        while True:
            self._check()
            now_s = self.clock.monotonic()
            data = self._arrive(self.device.transmit(now_s))
            if data or now_s >= deadline_s:
                return data
            event_s = self.device.next_event_s()
            later_s = deadline_s if event_s is None else max(event_s, now_s + _LEAST_ADVANCE_S)
            self.clock.advance_to(min(later_s, deadline_s))

    def close(self) -> None:
        self.closed = True

    def _depart(self, data: bytes) -> bytes:
        """What arrives at the device of what was written."""
        return data

    def _arrive(self, data: bytes) -> bytes:
        """What arrives here of what the device said."""
        return data

    def _check(self) -> None:
        if self.closed:
            raise PortLostError(self.url, "is closed")
