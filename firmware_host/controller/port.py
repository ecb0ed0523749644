"""The line to a controller: bytes out, bytes in, nothing else."""

from __future__ import annotations

from abc import ABC, abstractmethod


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

    @abstractmethod
    def close(self) -> None:
        """Give the port and its lock back. A second call does nothing."""
