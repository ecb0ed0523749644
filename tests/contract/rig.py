"""One board, one controller, a short job, and an observer who knows the truth."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from firmware_host.clock import VirtualClock
from firmware_host.controller.axis import StandstillProof
from firmware_host.controller.connecting import connect
from firmware_host.controller.controller import Controller
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.reply import AxisState, StatusReport
from firmware_host.errors import FirmwareHostError
from firmware_host.simulator.device import SimulatedDevice
from tests.contract.spoken import STATED, STEPS_PER_UNIT, Case
from tests.support.memory_port import MemoryPort

TARGETS = (1000, -250, -249)
FEED = "3000"
LONGEST_JOB_S = 400.0
"""No job may take longer, whatever happens (s of virtual time)."""

Phase = Callable[[str], None]


@dataclass
class Rig:
    case: Case
    clock: VirtualClock
    device: SimulatedDevice
    port: MemoryPort
    trace: MemoryTrace
    controller: Controller | None = None
    origin: int = 0
    proofs: list[StandstillProof] = field(default_factory=list)
    observed: bool = True
    """False if the board that is talked to isn't `device`: then nobody knows the truth."""

    @property
    def now_s(self) -> float:
        return self.clock.monotonic()

    @property
    def steps(self) -> int:
        """True steps of the axis as the controller counts them."""
        return self.case.sign * self.device.steps_at(self.case.axis, self.now_s)

    @property
    def moving(self) -> bool:
        return self.device.moving_at(self.now_s)

    def run(self, duration_s: float) -> None:
        """Let time pass with nobody reading."""
        self.clock.sleep(duration_s)
        self.device.moving_at(self.now_s)

    def open(self, **options: Any) -> Controller:
        self.port.closed = False
        self.controller = connect(
            self.port,
            self.case.spoken.dialect(),
            self.clock,
            self.trace,
            axis=self.case.axis,
            stated=STATED,
            **options,
        )
        return self.controller

    def ready(self) -> Controller:
        """Opened, homed if it is locked, and prepared."""
        controller = self.open()
        if controller.status().state is AxisState.LOCKED:
            controller.home()
        controller.prepare()
        self.origin = round(controller.position_steps(controller.status()))
        return controller

    def planned_s(self, steps: int) -> float:
        """How long the move of so many steps takes at the controller's own limits: triangle or trapezoid in speed."""
        assert self.controller is not None
        held = self.controller.settings
        units = abs(steps) / float(STEPS_PER_UNIT)
        acceleration = float(held.acceleration_units_per_s2.value)
        rate = min(float(FEED), float(held.rate_units_per_min.value)) / 60
        if units <= rate**2 / acceleration:
            return 2 * math.sqrt(units / acceleration)
        return units / rate + rate / acceleration

    def move(self, steps: int) -> float:
        """Send the move to `steps` from the origin; when it was accepted (monotonic s)."""
        assert self.controller is not None
        coordinate = f"{float((steps + self.origin) / STEPS_PER_UNIT):.2f}"
        return self.controller.move_to(coordinate, FEED)

    def stand(
        self, steps: int, accepted_s: float, planned_s: float, on_poll: Callable[[StatusReport], None] | None = None
    ) -> StandstillProof:
        """Wait for the standstill proof, and compare it with the truth."""
        assert self.controller is not None
        start = self.steps
        proof = self.controller.wait_for_standstill(
            target_steps=steps + self.origin,
            steps_per_unit=STEPS_PER_UNIT,
            accepted_at_s=accepted_s,
            planned_duration_s=planned_s,
            deadline_s=accepted_s + 2 * planned_s + 10.0,
            on_poll=on_poll,
        )
        assert not self.moving, f"a standstill was proved while moving (from step {start})"
        self.proofs.append(proof)
        return proof

    def index(self, steps: int, at: int) -> StandstillProof:
        """Move from `at` to `steps` and prove the standstill there."""
        accepted_s = self.move(steps)
        return self.stand(steps, accepted_s, self.planned_s(steps - at))

    def job(self, phase: Phase = lambda name: None, targets: Sequence[int] = TARGETS) -> None:
        """Open, prepare, move to each target, prove the standstill and watch; `phase` is told what comes next."""
        phase("opening")
        controller = self.ready()
        phase("ready")
        truth = self.steps
        at = 0
        for target in targets:
            phase("moving")
            self.index(target, at)
            assert not self.observed or self.steps - truth == target, "a standstill was proved beside the target"
            phase("watching")
            controller.watch()
            assert not self.moving
            at = target
        phase("done")

    def outcome(self, phase: Phase = lambda name: None) -> FirmwareHostError | None:
        """Run the job; the error it ended with, or None. Whatever happened: it ended in time, and stops and closes."""
        started_s = self.now_s
        error: FirmwareHostError | None = None
        try:
            self.job(phase)
        except FirmwareHostError as caught:
            error = caught
        assert self.now_s - started_s < LONGEST_JOB_S
        if self.controller is not None:
            first = self.controller.stop()
            if first.stands_still:
                assert not self.moving, "said to stand still while moving"
            written = len(self.port.written)
            assert self.controller.stop() is first
            assert len(self.port.written) == written
            self.controller.close()
            self.controller.close()
        assert self.now_s - started_s < LONGEST_JOB_S + 60
        assert self.port.closed
        return error


def rig(case: Case, port: Callable[[SimulatedDevice, VirtualClock], MemoryPort] = MemoryPort) -> Rig:
    clock = VirtualClock()
    device = case.spoken.device(case.variant, 0.0)
    return Rig(case, clock, device, port(device, clock), MemoryTrace(clock))
