"""Gate `modem-lines`: one control line of a serial port says that the gate is open, another that the pass is done."""

from __future__ import annotations

from typing import Any, Protocol

from firmware_host.controller.controller import Controller
from firmware_host.controller.port.modem_lines import InputLine, OutputLine
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.serial_port import open_port
from firmware_host.errors import GateError, GateTimeoutError, LinkError
from firmware_host.model.job.gate import ModemLinesGateOptions
from firmware_host.station.gates.gate import GateContext, GateLine, PassRequest, PassState
from firmware_host.station.gates.switched import SwitchedGate

DEBOUNCE_S = 0.02
"""How long a state must last to count (s); contacts bounce for some milliseconds. Common practice, no source."""
_BAUD = 9600  # nothing is sent


class _Lines(Protocol):
    """A port, or the controller that owns it."""

    def set_line(self, line: OutputLine, on: bool) -> None: ...
    def line(self, line: InputLine) -> bool: ...


class Debounced:
    """The state that a line has had for `hold_s` (s) at least, as far as it was looked at; None until there is one."""

    def __init__(self, hold_s: float) -> None:
        self._hold_s = hold_s
        self._seen: bool | None = None
        self._since_s = 0.0
        self.state: bool | None = None

    def see(self, level: bool, now_s: float) -> bool | None:
        """Take one look at `now_s` (monotonic s); the state by now."""
        if level is not self._seen:
            self._seen, self._since_s = level, now_s
        elif now_s - self._since_s >= self._hold_s:
            self.state = level
        return self.state


class ModemLinesGate(SwitchedGate):
    """Works on `port`, a second one that it owns, or without it on the controller's, through the controller.

    The line out is switched to closed as soon as there is a port, and again at every end of a pass; if it can't be,
    that is an error each time it is tried. A port without such lines is refused before anything moves.
    """

    kind = "modem-lines"

    def __init__(self, context: GateContext, options: ModemLinesGateOptions, port: Port | None = None) -> None:
        super().__init__(context.clock)
        self._operator = context.operator
        self._options = options
        self._output, self._input = OutputLine(options.output), InputLine(options.input)
        self._stop = None if options.stop is None else InputLine(options.stop)
        self._hold_s = DEBOUNCE_S if options.debounce is None else options.debounce.si
        self._port = port
        self._lines: _Lines | None = port
        self._done, self._stopping = Debounced(self._hold_s), Debounced(self._hold_s)
        self._was_undone = False
        if port is not None:
            self.close()

    @classmethod
    def build(cls, options: Any, context: GateContext) -> ModemLinesGate:
        port = open_port(options.port, baud=_BAUD, clock=context.clock) if options.port else None
        try:
            return cls(context, options, port)
        except BaseException:
            if port is not None:
                port.close()
            raise

    @classmethod
    def lines(cls, options: Any) -> tuple[GateLine, ...]:
        read = (options.input, options.stop) if options.stop is not None else (options.input,)
        return (
            GateLine(OutputLine(options.output).name, out=True),
            *(GateLine(InputLine(line).name, out=False) for line in read),
        )

    def level(self, line: GateLine) -> bool:
        return self._level(InputLine[line.name])

    def attach(self, controller: Controller) -> None:
        if self._port is None:
            self._lines = controller
        self._maybe_open = True
        self.close()
        for line in filter(None, (self._input, self._stop)):
            self._level(line)

    @property
    def _reachable(self) -> bool:
        return self._lines is not None

    def _drive(self, is_open: bool) -> None:
        self._there().set_line(self._output, is_open == (self._options.open_is == "on"))

    def _begin(self, request: PassRequest) -> None:
        self._done = Debounced(self._hold_s)
        self._was_undone = False

    def _tell(self, request: PassRequest) -> None:
        self._operator.tell(f"STANDSTILL: {self._output.name} says mark {request}")

    def _look(self, waited_s: float) -> PassState:
        if self.wants_stop():
            return PassState.STOP
        level = self._level(self._input)
        done = self._done.see(level == (self._options.done_is == "on"), self._clock.monotonic())
        self._was_undone = self._was_undone or done is False
        if done and (self._was_undone or self._options.done_by == "level"):
            return PassState.DONE
        if waited_s > self._options.timeout.si:
            why = f"{self._input.name} did not turn {self._options.done_is}"
            raise GateTimeoutError(self.kind, f"{why} within {self._options.timeout.si:.6g} s")
        return PassState.MARKING

    def wants_stop(self) -> bool:
        if self._stop is None or self._lines is None:
            return False
        level = self._level(self._stop) == (self._options.stop_is == "on")
        return self._stopping.see(level, self._clock.monotonic()) is True

    def release(self) -> None:
        port = self._port
        try:
            self.close()
        finally:
            self._lines = self._port = None
            if port is not None:
                port.close()

    def _level(self, line: InputLine) -> bool:
        lines = self._there()
        try:
            return lines.line(line)
        except LinkError as error:
            raise GateError(self.kind, f"{line.name} cannot be read ({error})") from error

    def _there(self) -> _Lines:
        if self._lines is None:
            raise GateError(self.kind, "there is no port yet")
        return self._lines
