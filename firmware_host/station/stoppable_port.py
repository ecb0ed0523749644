"""A port whose reader can be stopped from another thread while it waits for a long answer."""

from __future__ import annotations

from firmware_host.clock import Clock
from firmware_host.controller.port.modem_lines import InputLine, OutputLine
from firmware_host.controller.port.port import Port
from firmware_host.station.stop_request import StopRequest

_LOOK_S = 0.1
"""How often a wait looks for a wish to stop (s)."""


class StoppablePort(Port):
    """Passes everything on. A read inside `StopRequest.at_once` ends with `StopAskedError` once a stop is asked for."""

    def __init__(self, inner: Port, stop: StopRequest, clock: Clock) -> None:
        self._inner, self._stop, self._clock = inner, stop, clock
        self.url = inner.url

    def write(self, data: bytes) -> None:
        self._inner.write(data)

    def read(self, timeout_s: float) -> bytes:
        end_s = self._clock.monotonic() + timeout_s
        while True:
            self._stop.check_at_once()
            left_s = end_s - self._clock.monotonic()
            data = self._inner.read(max(min(left_s, _LOOK_S), 0.0))
            if data or left_s <= _LOOK_S:
                return data

    def set_line(self, line: OutputLine, on: bool) -> None:
        self._inner.set_line(line, on)

    def line(self, line: InputLine) -> bool:
        return self._inner.line(line)

    def close(self) -> None:
        self._inner.close()
