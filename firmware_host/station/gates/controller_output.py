"""Gate `controller-output`: an output of the controller is on while the gate is open."""

from __future__ import annotations

from typing import Any

from firmware_host.controller.controller import Controller
from firmware_host.errors import ControllerError, GateError, GateTimeoutError, LineRejectedError, LinkError
from firmware_host.model.job.gate import ControllerOutputGateOptions
from firmware_host.station.gates.gate import GateContext, GateLine, PassRequest, PassState
from firmware_host.station.gates.switched import SwitchedGate


class ControllerOutputGate(SwitchedGate):
    """Done after a fixed time, or when an input letter shows in two reports in a row after it had been gone.

    The output is switched off by `attach` or the first `close` after it, and at every end of a pass; if it can't be, it
    is an error each time it is tried. (A locked controller refuses that.)
    """

    kind = "controller-output"

    def __init__(self, context: GateContext, options: ControllerOutputGateOptions) -> None:
        super().__init__(context.clock)
        self._operator = context.operator
        self._options = options
        self._controller: Controller | None = None
        self._was_off = False
        self._seen_on = 0

    @classmethod
    def build(cls, options: Any, context: GateContext) -> ControllerOutputGate:
        return cls(context, options)

    @classmethod
    def lines(cls, options: Any) -> tuple[GateLine, ...]:
        read = () if options.pin is None else (GateLine(f"input {options.pin}", out=False),)
        return (GateLine(f"output {options.output}", out=True), *read)

    def level(self, line: GateLine) -> bool:
        return self._is_on()

    def attach(self, controller: Controller) -> None:
        if self._options.pin is not None and not controller.capabilities.tells_state:
            raise GateError(self.kind, "this controller does not report its inputs: give duration instead of pin")
        self._maybe_open = True  # an earlier owner may have left it on
        if not controller.capabilities.tells_state:
            self._require_word(controller)
            self._maybe_open = False
        self._controller = controller

    def _require_word(self, controller: Controller) -> None:
        """Switch the output off, which tells whether the board knows a word for it; `GateError` where it doesn't."""
        try:
            controller.set_output(self._options.output, False)
        except LineRejectedError as error:
            detail = (
                f"this board cannot switch output {self._options.output}: {error.detail}. Choose another kind of gate"
            )
            raise GateError(self.kind, detail) from error

    @property
    def _reachable(self) -> bool:
        return self._controller is not None

    def _drive(self, is_open: bool) -> None:
        if self._controller is None:
            raise GateError(self.kind, "there is no controller yet")
        self._controller.set_output(self._options.output, is_open)

    def _begin(self, request: PassRequest) -> None:
        self._was_off, self._seen_on = False, 0

    def _tell(self, request: PassRequest) -> None:
        self._operator.tell(f"STANDSTILL: output {self._options.output} says mark {request}")

    def _look(self, waited_s: float) -> PassState:
        if self._options.duration is not None:
            return PassState.DONE if waited_s >= self._options.duration.si else PassState.MARKING
        if self._shows_done():
            return PassState.DONE
        limit = self._options.timeout
        if limit is not None and waited_s > limit.si:
            raise GateTimeoutError(self.kind, f"input {self._options.pin} did not turn on within {limit.si:.6g} s")
        return PassState.MARKING

    def _shows_done(self) -> bool:
        is_on = self._is_on()
        self._was_off = self._was_off or not is_on
        self._seen_on = self._seen_on + 1 if is_on else 0
        return self._was_off and self._seen_on >= 2

    def _is_on(self) -> bool:
        if self._controller is None or self._options.pin is None:
            raise GateError(self.kind, "there is no input to look at")
        try:
            return self._options.pin in self._controller.status().pins
        except (LinkError, ControllerError) as error:
            raise GateError(self.kind, f"its inputs cannot be read ({error})") from error

    def release(self) -> None:
        try:
            self.close()
        finally:
            self._controller = None
