"""The gate of a run without marking: nobody is told, each pass is a short pause."""

from __future__ import annotations

from typing import ClassVar

from firmware_host.station.gates.gate import PassRequest
from firmware_host.station.gates.timed import TimedGate


class DryGate(TimedGate):
    """A `TimedGate` at which nothing is marked; no job can ask for it."""

    kind = "without-marking"
    marks: ClassVar[bool] = False

    def invitation(self, request: PassRequest) -> str:
        return f"STANDSTILL, without marking: {request}."
