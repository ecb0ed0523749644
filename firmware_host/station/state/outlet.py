"""Where the state of a run goes. Whoever reads it can't delay the run: nothing here waits for anybody."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable

from firmware_host.station.state.message import StateMessage


class Outlet(ABC):
    """One place where the newest state can be read, and its `name` for people."""

    name: str

    def attach(self, newest: Callable[[], StateMessage]) -> None:  # noqa: B027 - most wait until they are told
        """Told once, behind the first state: where it can be asked for as it is at that very moment, by any thread."""

    @abstractmethod
    def put(self, line: str) -> None:
        """Take the newest state, one line without its end. Returns at once."""

    @abstractmethod
    def close(self) -> None:
        """Hand over what was put last, as far as that takes no long waiting, and end; a second call does nothing."""
