"""Modem lines whose inputs follow a script in virtual time."""

from __future__ import annotations

from firmware_host.clock import VirtualClock
from firmware_host.controller.port.modem_lines import InputLine, OutputLine
from firmware_host.controller.port.port import Port
from firmware_host.errors import PortLostError


class ScriptedLines(Port):
    """`script` of an input: (s, on) in order; off before. `switched` is every output change: (s, line, on)."""

    def __init__(self, clock: VirtualClock, url: str = "script://lines") -> None:
        self.url = url
        self.clock = clock
        self.script: dict[InputLine, list[tuple[float, bool]]] = {}
        self.switched: list[tuple[float, OutputLine, bool]] = []
        self.lost = False
        self.closed = False

    def set_line(self, line: OutputLine, on: bool) -> None:
        self._check()
        self.switched.append((self.clock.monotonic(), line, on))

    def line(self, line: InputLine) -> bool:
        self._check()
        return [False, *(on for at_s, on in self.script.get(line, []) if at_s <= self.clock.monotonic())][-1]

    def write(self, data: bytes) -> None:
        raise AssertionError("nothing is written to a port that is used for its lines")

    def read(self, timeout_s: float) -> bytes:
        raise AssertionError("nothing is read from a port that is used for its lines")

    def close(self) -> None:
        self.closed = True

    def _check(self) -> None:
        if self.lost or self.closed:
            raise PortLostError(self.url, "gone")
