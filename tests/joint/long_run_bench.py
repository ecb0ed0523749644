"""Indexes without end in one direction, at the level of controller and mover: no journal, no gate, virtual time.

Every rest is compared with the motor's own counter and with exact fractions.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from firmware_host.clock import VirtualClock
from firmware_host.controller.connecting import connect
from firmware_host.controller.dialect import Dialect
from firmware_host.controller.numbered_line.dialect import NumberedLineDialect
from firmware_host.controller.port.trace import Trace, TraceKind
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.model.machine.machine import Axis
from firmware_host.planning.layout.segments import SegmentBlock
from firmware_host.planning.route.angles import SegmentAngles
from firmware_host.planning.route.coordinates import StoredScale
from firmware_host.planning.route.moves import MoveProgram, Route, time_moves, unwound_route
from firmware_host.planning.route.unwinding import NOT_UNWOUND
from firmware_host.simulator.event_device import EventDevice
from firmware_host.simulator.numbered_line.boards import set_numbered_board
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.status_query.boards import set_board
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.station.axis_mover import AxisMover
from tests.support.board_faults import forget_motion
from tests.support.memory_port import MemoryPort

PER_TURN = Fraction(2_560_000, 127)
"""200 full steps x 32 microsteps, a roller of 25.4 mm, a part of 80 mm: 6400 * 800/254, which no decimal holds."""
HELD = StoredScale.exactly(Fraction("17.778"))
PITCH = Fraction(1, 37)
"""Turn of the part from one segment to the next: with the ratio, 2560000/4699 microsteps."""


class NoTrace(Trace):
    """Keeps nothing: a million indexes would fill the memory."""

    def record(self, kind: TraceKind, data: bytes) -> None:
        pass


class ForgetfulPort(MemoryPort):
    """Counts what was written instead of keeping it."""

    def write(self, data: bytes) -> None:
        super().write(data)
        self.written.clear()


def state_word_board() -> tuple[EventDevice, Dialect]:
    """A board that tells its state in a word; 60,000 units/min, 20,000 units/s^2."""
    board = set_board("Y", steps_per_unit=17.778, rate=60_000.0, acceleration=20_000.0, highest_step_rate=28_000.0)
    return StatusQueryDevice(board), StatusQueryDialect()


def numbered_board() -> tuple[EventDevice, Dialect]:
    """A board that takes numbered lines, set alike."""
    board = set_numbered_board(
        "Y", steps_per_unit=17.778, rate=1_000.0, acceleration=20_000.0, highest_step_rate=28_000.0
    )
    return NumberedLineDevice(board), NumberedLineDialect()


def endless_program(count: int, *, overrun: int = 0, pitch: Fraction = PITCH) -> MoveProgram:
    """`count` indexes by `pitch` (turns), as quick as the board goes."""
    angles = SegmentAngles((SegmentBlock(Fraction(0), pitch, abs(pitch), count),))
    bare = np.zeros(0, dtype=np.int64)
    route = Route(bare, bare, bare.astype(np.int8), PER_TURN, overrun, angles)
    return time_moves(unwound_route(route, NOT_UNWOUND), speed=8.0, acceleration=60.0)


@dataclass
class LongRun:
    """A board that holds 17.778 steps per unit, and a mover of `count` indexes on it."""

    count: int
    overrun: int = 0
    pitch: Fraction = PITCH
    scale: StoredScale = HELD
    axis: Axis = field(default_factory=Axis)
    origin: int = 0
    numbered: bool = False

    def __post_init__(self) -> None:
        self.clock = VirtualClock()
        self.device, dialect = numbered_board() if self.numbered else state_word_board()
        self.port = ForgetfulPort(self.device, self.clock)
        self.controller = connect(self.port, dialect, self.clock, NoTrace(), axis="Y")
        self.controller.prepare()
        if self.origin:
            self._turn_to(self.origin)
        program = endless_program(self.count, overrun=self.overrun, pitch=self.pitch)
        self.mover = AxisMover(self.controller, self.clock, program, self.scale, self.origin, axis=self.axis)
        self.zero = self.steps
        self.unwindings = 0
        self.farthest = 0

    @property
    def steps(self) -> int:
        """True count of the motor."""
        return self.device.steps_at("Y", self.clock.monotonic())

    @property
    def moved(self) -> int:
        """Travels that the motor has made since its record was last emptied."""
        return len(self.device.motion_log)

    def _turn_to(self, steps: int) -> None:
        accepted_s = self.controller.move_to(f"{steps / 17.778:.4f}", "60000")
        self.clock.advance_to(accepted_s + abs(steps) / 10_000 + 10.0)
        self.controller.status()
        if self.steps != steps:
            raise ValueError(f"the board stands at {self.steps}, not at {steps}")
        forget_motion(self.device)

    def rests(self) -> Iterator[tuple[int, int, int]]:
        """Move to each segment in turn: (segment, turns taken back, true microsteps from the job's zero)."""
        for segment in range(1, self.count + 1):
            if self.mover.unwinding(segment) is not None:
                self.unwindings += 1
            self.mover.move(segment, lambda report: None)
            true = self.steps - self.zero
            self.farthest = max(self.farthest, abs(true + self.zero))
            yield segment, self.mover.turns, true
            forget_motion(self.device)


def error_steps(run: LongRun, segment: int, turns: int, true: int) -> int:
    """Steps between where the motor stands and where exact fractions put it: whole turns of the part are the same."""
    return true - round((segment - 1) * run.pitch * PER_TURN - turns * PER_TURN)


def off_by(run: LongRun, segment: int, turns: int, true: int) -> Fraction:
    """How far the part stands from its exact angle, in microsteps."""
    return abs(true - ((segment - 1) * run.pitch - turns) * PER_TURN)
