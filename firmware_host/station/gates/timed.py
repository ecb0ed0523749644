"""Gate `timed`: each pass takes a fixed time."""

from __future__ import annotations

from typing import Any

from firmware_host.errors import GateError
from firmware_host.station.gates.gate import Gate, GateContext, PassRequest, PassState


class TimedGate(Gate):
    """Done after `duration_s` (s, > 0). Only for a marking side that is known to take less."""

    kind = "timed"
    stays_open = False

    def __init__(self, context: GateContext, duration_s: float) -> None:
        self._clock = context.clock
        self._operator = context.operator
        self._duration_s = duration_s
        self._opened_s: float | None = None

    @classmethod
    def build(cls, options: Any, context: GateContext) -> TimedGate:
        return cls(context, options.duration.si)

    def open(self, request: PassRequest) -> None:
        self._opened_s = self._clock.monotonic()
        self._operator.tell(self.invitation(request))

    def invitation(self, request: PassRequest) -> str:
        """What the person at the machine is told."""
        return f"STANDSTILL: mark {request}; the gate closes in {self._duration_s:.6g} s."

    def poll(self) -> PassState:
        if self._opened_s is None:
            raise GateError(self.kind, "polled while closed")
        late = self._clock.monotonic() - self._opened_s >= self._duration_s
        return PassState.DONE if late else PassState.MARKING

    def close(self) -> None:
        self._opened_s = None
