"""Gate `operator`: a person starts the pass at the marking side and presses Enter when it is done."""

from __future__ import annotations

from typing import Any

from firmware_host.errors import GateError, GateTimeoutError
from firmware_host.station.gates.gate import Gate, GateContext, PassRequest, PassState
from firmware_host.station.operator import Choice, Question

_STOP_WORDS = frozenset({"s", "stop", "q", "quit"})
_DONE_WORDS = frozenset({"", "d", "done", "y", "yes"})

TIMEOUT_S = 3600.0
"""How long a gate stays open (s) for somebody who says nothing. Common practice, no source; the run can be resumed."""


class OperatorGate(Gate):
    """Enter says done, "s" stops the run, other words say nothing. `timeout_s` (s): how long to wait."""

    kind = "operator"
    stays_open = False

    def __init__(self, context: GateContext, timeout_s: float = TIMEOUT_S) -> None:
        self._operator = context.operator
        self._clock = context.clock
        self._timeout_s = timeout_s
        self._opened_s: float | None = None

    @classmethod
    def build(cls, options: Any, context: GateContext) -> OperatorGate:
        return cls(context, options.timeout.si if options.timeout is not None else TIMEOUT_S)

    def open(self, request: PassRequest) -> None:
        self._operator.forget()  # an Enter from before the gate was open says nothing of this pass
        self._opened_s = self._clock.monotonic()
        text = f", text {' '.join(request.part.text.split())}" if request.part is not None and request.part.text else ""
        self._operator.tell(f"STANDSTILL: mark {request}{text}. Enter when it is done, {self._stop_by} to stop.")
        self._operator.asks(Question(f"Mark {request}{text}. Is it marked?", (Choice("", "Done: it is marked"),)))

    @property
    def _stop_by(self) -> str:
        return "s" if self._operator.by_key else "s and Enter"

    def poll(self) -> PassState:
        if self._opened_s is None:
            return PassState.MARKING
        try:
            answer = self._operator.answer()
        except GateError:  # nobody can answer any more
            self.close()
            raise
        if answer is not None and answer.lower() in _STOP_WORDS:
            return PassState.STOP
        if answer is not None and answer.lower() in _DONE_WORDS:
            return PassState.DONE
        if answer is not None:
            self._operator.tell(f"Not understood. Enter alone when the pass is done, {self._stop_by} to stop.")
        if self._clock.monotonic() - self._opened_s > self._timeout_s:
            self.close()
            raise GateTimeoutError(self.kind, f"nobody confirmed within {self._timeout_s:.6g} s that the pass is done")
        return PassState.MARKING

    def close(self) -> None:
        if self._opened_s is not None:
            self._opened_s = None
            self._operator.asks(None)
            self._operator.tell("GATE CLOSED: do not mark.")
