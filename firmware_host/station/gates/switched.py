"""What the gates have in common that switch something on to say "mark now", and off again to take it back."""

from __future__ import annotations

from abc import abstractmethod

from firmware_host.clock import Clock
from firmware_host.errors import ControllerError, GateError, LinkError
from firmware_host.station.gates.gate import Gate, PassRequest, PassState


class SwitchedGate(Gate):
    """Switches at `open` and at `close`; whatever fails in between switches it off before it is told.

    It counts as possibly on until it has been switched off without an error: each `close` tries again, and each failure
    is raised.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._maybe_open = True  # an earlier owner, or the opening of a port, may have left it on
        self._opened_s: float | None = None

    @property
    @abstractmethod
    def _reachable(self) -> bool:
        """Whether there is something to switch by now."""

    @abstractmethod
    def _drive(self, is_open: bool) -> None:
        """Switch it. Raises `LinkError`, `ControllerError`, or `GateError` if there is nothing to switch yet."""

    @abstractmethod
    def _begin(self, request: PassRequest) -> None:
        """Forget what the last pass left behind; nothing is switched yet."""

    @abstractmethod
    def _tell(self, request: PassRequest) -> None:
        """Say to the operator that it is on."""

    @abstractmethod
    def _look(self, waited_s: float) -> PassState:
        """What the marking side says `waited_s` (s) after the opening. Raises `GateError`."""

    def open(self, request: PassRequest) -> None:
        self._begin(request)
        self._opened_s = self._clock.monotonic()
        self._maybe_open = True
        try:
            self._switch(True)
        except GateError:
            self._close_after_fault()
            raise
        self._tell(request)

    def poll(self) -> PassState:
        if self._opened_s is None:
            raise GateError(self.kind, "polled while closed")
        try:
            return self._look(self._clock.monotonic() - self._opened_s)
        except GateError:
            self._close_after_fault()
            raise

    def close(self) -> None:
        self._opened_s = None
        if self._maybe_open and self._reachable:
            self._switch(False)
            self._maybe_open = False

    def _close_after_fault(self) -> None:
        """Close as far as that is possible; what failed is told by the fault itself."""
        try:
            self.close()
        except GateError:
            return  # tried again, and told, by the next close

    def _switch(self, is_open: bool) -> None:
        try:
            self._drive(is_open)
        except (LinkError, ControllerError) as error:
            what = "opened" if is_open else "closed: withdraw the permission to mark by hand"
            raise GateError(self.kind, f"cannot be {what} ({error})") from error
