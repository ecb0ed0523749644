"""Gate `command`: a program is started for each pass; its exit status is the answer."""

from __future__ import annotations

import re
from typing import Any

from firmware_host.acts import NameGateProgram
from firmware_host.errors import GateError, GateTimeoutError, InputError
from firmware_host.station.gates.gate import Gate, GateContext, PartContext, PassRequest, PassState
from firmware_host.system.processes import Program

_ENDING_S = 2.0


class CommandGate(Gate):
    """Starts `program` (an argument list, never a shell) apart from this one; status 0 says done.

    The environment describes the pass: CIRCUMSTEP_SEGMENT, CIRCUMSTEP_SEGMENTS, CIRCUMSTEP_PASS, CIRCUMSTEP_PASSES,
    CIRCUMSTEP_ANGLE_DEG; in a batch also CIRCUMSTEP_PART, CIRCUMSTEP_PARTS, CIRCUMSTEP_SERIAL, CIRCUMSTEP_TEXT, and
    CIRCUMSTEP_COLUMN_... for each column of the table of parts. Closing the gate ends it and whatever it has started.
    `timeout_s` in s of the run's clock.
    """

    kind = "command"
    stays_open = False

    def __init__(self, context: GateContext, timeout_s: float) -> None:
        if not context.program:
            raise InputError(
                "the job's gate starts a program for each pass, and none was named",
                "Name the program when starting or resuming the run",
                key="gate",
                acts=(NameGateProgram(),),
            )
        self._program = context.program
        self._clock = context.clock
        self._timeout_s = timeout_s
        self._started: Program | None = None
        self._opened_s = 0.0

    @classmethod
    def build(cls, options: Any, context: GateContext) -> CommandGate:
        return cls(context, options.timeout.si)

    def open(self, request: PassRequest) -> None:
        told = {
            "CIRCUMSTEP_SEGMENT": str(request.segment),
            "CIRCUMSTEP_SEGMENTS": str(request.segments),
            "CIRCUMSTEP_PASS": str(request.number),
            "CIRCUMSTEP_PASSES": str(request.passes),
            "CIRCUMSTEP_ANGLE_DEG": f"{request.angle_deg:.9g}",
            **(_of_part(request.part) if request.part is not None else {}),
        }
        self._opened_s = self._clock.monotonic()
        try:
            self._started = Program(self._program, told)
        except OSError as error:
            raise GateError(self.kind, f"{self._program[0]!r} cannot be started ({error.strerror})") from error

    def poll(self) -> PassState:
        if self._started is None:
            raise GateError(self.kind, "polled while closed")
        status = self._started.status()
        if status is None:
            if self._clock.monotonic() - self._opened_s > self._timeout_s:
                self.close()
                raise GateTimeoutError(self.kind, f"the program took longer than {self._timeout_s:.6g} s; it was ended")
            return PassState.MARKING
        if status:
            self.close()  # what it started may still be at work
            how = f"was ended by signal {-status}" if status < 0 else f"ended with status {status}"
            raise GateError(self.kind, f"{self._program[0]!r} {how}: the pass is not done")
        return PassState.DONE

    def close(self) -> None:
        started, self._started = self._started, None
        if started is not None:
            started.end(_ENDING_S)


def _of_part(part: PartContext) -> dict[str, str]:
    """What the environment says of a part: a column's name in capitals, what is no letter or digit as a low line."""
    columns = {
        f"CIRCUMSTEP_COLUMN_{re.sub(r'[^A-Z0-9]', '_', name.upper())}": each for name, each in part.columns.items()
    }
    return {
        **columns,
        "CIRCUMSTEP_PART": str(part.number),
        "CIRCUMSTEP_PARTS": str(part.of),
        "CIRCUMSTEP_SERIAL": part.serial,
        "CIRCUMSTEP_TEXT": part.text,
    }
