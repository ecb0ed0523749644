"""The gate: how the marking side is told "the part is still, mark now", and how it answers "done"."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path
from typing import Any, ClassVar

from firmware_host.clock import Clock
from firmware_host.controller.controller import Controller
from firmware_host.errors import GateError, InputError
from firmware_host.station.operator import Operator

ENTRY_POINTS = "firmware_host.gates"
_OWN = tuple(
    EntryPoint(kind, f"firmware_host.station.gates.{target}", ENTRY_POINTS)
    for kind, target in (
        ("command", "command:CommandGate"),
        ("controller-output", "controller_output:ControllerOutputGate"),
        ("modem-lines", "modem_lines:ModemLinesGate"),
        ("operator", "operator:OperatorGate"),
        ("tcp", "tcp:TcpGate"),
        ("timed", "timed:TimedGate"),
    )
)
"""This package's own, so that a plain source tree works too; a plug-in can't take such a name."""


class PassState(Enum):
    """What the marking side says of the pass."""

    MARKING = "marking"
    DONE = "done"
    STOP = "stop"


@dataclass(frozen=True)
class PartContext:
    """Which part of a batch is marked: `number` of `of`, from 1. `serial` and `text` are empty where it has none.

    `columns`: everything that the table of parts says of it, by the names of its columns, as it is written there.
    """

    number: int
    of: int
    serial: str = ""
    text: str = ""
    columns: Mapping[str, str] = field(default_factory=dict)

    def __str__(self) -> str:
        """For people: "part 3 of 24 (serial A-103)"."""
        serial = f" (serial {self.serial})" if self.serial else ""
        return f"part {self.number} of {self.of}{serial}"


@dataclass(frozen=True)
class PassRequest:
    """Which pass is to be marked: both count from 1. `angle_deg` is where the part stands, from the job's zero.

    `part`: which part of a batch that is; None for a run of its own.
    """

    segment: int
    segments: int
    number: int
    passes: int
    angle_deg: float
    part: PartContext | None = None

    def __str__(self) -> str:
        part = f"{self.part}, " if self.part is not None else ""
        return f"{part}segment {self.segment} of {self.segments}, pass {self.number} of {self.passes}"


@dataclass(frozen=True)
class GateLine:
    """One line of a gate, as whoever looks for a loose wire knows it: `out` to the marking side, or in from it."""

    name: str
    out: bool


@dataclass(frozen=True)
class GateContext:
    """What a gate may need besides its options.

    `program` comes from whoever starts the run, never from a file; `job` is the job's name, `folder` the run's folder.
    """

    clock: Clock
    operator: Operator
    program: tuple[str, ...] = ()
    job: str = ""
    folder: Path | None = None


class Gate(ABC):
    """One gate. The run loop opens it only when the part is proved to stand still, and closes it before anything else.

    `poll` is called every few milliseconds and never waits. `close` is safe at any time; a second call does nothing.
    """

    kind: ClassVar[str]
    marks: ClassVar[bool] = True
    """False where a pass through it marks nothing: the run's journal says so, and its passes never count as marked."""
    stays_open: ClassVar[bool] = True
    """Whether it may be open though no run has opened it: a line or an output that another program left on."""

    @classmethod
    @abstractmethod
    def build(cls, options: Any, context: GateContext) -> Gate:
        """Make a gate of its options (a model of `model.gate`, or a mapping for a plug-in). Raises `InputError`."""

    @classmethod
    def lines(cls, options: Any) -> tuple[GateLine, ...]:
        """The lines that a gate of these options switches or looks at one by one; most have none."""
        return ()

    def level(self, line: GateLine) -> bool:
        """Whether one of the lines that come from the marking side is on. Raises `GateError`."""
        raise GateError(self.kind, f"{line.name} is no line that it can read")

    def attach(self, controller: Controller) -> None:  # noqa: B027 - most gates need no controller
        """Told of the open controller before anything moves. Closes a gate that works through it."""

    @abstractmethod
    def open(self, request: PassRequest) -> None:
        """Tell the marking side to begin. Raises `GateError` if it can't be told."""

    @abstractmethod
    def poll(self) -> PassState:
        """What the marking side says now. Raises `GateError` on failure, `GateTimeoutError` when it takes too long."""

    @abstractmethod
    def close(self) -> None:
        """Take the permission back; ends a pass that still runs."""

    def wants_stop(self) -> bool:
        """Whether the marking side wants the run to stop; asked while the axis moves, too. Never waits."""
        return False

    def ended(self, outcome: str) -> None:  # noqa: B027 - most gates have nobody to tell
        """Told once how the run has ended: "done", "stopped" or "failed". Closed before; `release` follows."""

    def release(self) -> None:
        """Give back what the gate holds (ports, sockets) at the end of the run; a second call does nothing."""
        self.close()


def gate_kinds() -> tuple[str, ...]:
    """All kinds known, built in or from plug-ins; loads none."""
    return tuple(sorted(_entries()))


def build_gate(options: Any, context: GateContext) -> Gate:
    """The gate for a job's options, found by its kind.

    Raises `InputError` if no gate has this kind, and for an entry that isn't a gate.
    """
    extra = getattr(options, "options", None)
    return gate_kind(options).build(extra if isinstance(extra, Mapping) else options, context)


def gate_kind(options: Any) -> type[Gate]:
    """The class of gate for a job's options; errors as `build_gate`."""
    entries = _entries()
    if options.kind not in entries:
        known = f"Known kinds: {', '.join(gate_kinds())}"
        raise InputError(f"no gate of kind {options.kind!r}", known, key="gate.kind")
    gate = entries[options.kind].load()
    if not (isinstance(gate, type) and issubclass(gate, Gate)):
        where = entries[options.kind].value
        raise InputError(f"gate {options.kind!r} at {where} is not a Gate", "Repair its entry point", key="gate.kind")
    return gate


def _entries() -> dict[str, EntryPoint]:
    found = {entry.name: entry for entry in _OWN}
    found.update({entry.name: entry for entry in entry_points(group=ENTRY_POINTS) if entry.name not in found})
    return found
