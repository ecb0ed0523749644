"""The line to a controller: bytes out, bytes in, nothing else."""

from __future__ import annotations

from abc import ABC, abstractmethod

from firmware_host.controller.port.modem_lines import InputLine, OutputLine
from firmware_host.errors import PortUnavailableError


class Port(ABC):
    """A byte stream with one owner. Time-outs are in seconds of the run's clock."""

    url: str
    """How the port was named when it was opened; used in messages."""

    @abstractmethod
    def write(self, data: bytes) -> None:
        """Send all of `data`. Raises PortLostError when the port is gone or closed."""

    @abstractmethod
    def read(self, timeout_s: float) -> bytes:
        """Return what has arrived, waiting at most `timeout_s` (s, >= 0) for the first byte; b"" if none came.

        Raises PortLostError when the port is gone or closed.
        """

    def set_line(self, line: OutputLine, on: bool) -> None:
        """Switch a modem line. Raises PortUnavailableError where there are none, PortLostError when it is gone."""
        raise PortUnavailableError(self.url, f"has no modem lines: {line.name} cannot be switched")

    def line(self, line: InputLine) -> bool:
        """Whether a modem line is on; errors as `set_line`."""
        raise PortUnavailableError(self.url, f"has no modem lines: {line.name} cannot be read")

    @abstractmethod
    def close(self) -> None:
        """Give the port and its lock back. A second call does nothing."""
