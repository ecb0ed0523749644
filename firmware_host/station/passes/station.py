"""The station: everything a run works with."""

from __future__ import annotations

from dataclasses import dataclass, field

from firmware_host.clock import Clock
from firmware_host.controller.controller import Controller
from firmware_host.station.gates.gate import Gate, PartContext
from firmware_host.station.operator import Operator
from firmware_host.station.passes.control import RunControl
from firmware_host.station.progress import Progress, SilentProgress
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.settings.known_scale import KnownScales
from firmware_host.station.stop_request import StopRequest


@dataclass(frozen=True)
class Station:
    """Everything a run works with. `scales` knows what we wrote to controllers; `control`: what is wished of the run.

    `release_motor`: let go of the motor when the run ends early, once the axis stands still; the position is lost then.
    `part`: which part of a batch is marked.
    """

    controller: Controller
    gate: Gate
    clock: Clock
    folder: RunFolder
    scales: KnownScales
    operator: Operator
    progress: Progress = field(default_factory=SilentProgress)
    control: RunControl = field(default_factory=RunControl)
    release_motor: bool = False
    part: PartContext | None = None

    @property
    def stop(self) -> StopRequest:
        """The wish to stop."""
        return self.control.stop
