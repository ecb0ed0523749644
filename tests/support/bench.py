"""A simulated board on the bench, joined to a controller under virtual time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Generic, TypeVar

from firmware_host.clock import VirtualClock
from firmware_host.controller.connecting import connect
from firmware_host.controller.controller import Controller
from firmware_host.controller.dialect import Dialect
from firmware_host.controller.numbered_line.dialect import NumberedLineDialect
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.simulator.device import SimulatedDevice
from firmware_host.simulator.numbered_line.device import NumberedLineDevice
from firmware_host.simulator.numbered_line.variant import NumberedLineVariant
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.simulator.status_query.variant import StatusQueryVariant
from tests.support.memory_port import MemoryPort

Device = TypeVar("Device", bound=SimulatedDevice)


@dataclass
class Bench(Generic[Device]):
    """Everything on the bench. `steps` is the true step count of the axis, whatever anybody believes."""

    clock: VirtualClock
    device: Device
    port: MemoryPort
    trace: MemoryTrace
    dialect: Dialect
    axis: str = "A"

    @property
    def steps(self) -> int:
        return self.device.steps_at(self.axis, self.clock.monotonic())

    @property
    def moving(self) -> bool:
        return self.device.moving_at(self.clock.monotonic())

    def open(self, **options: Any) -> Controller:
        """Open a controller on the port; options as for `connect`."""
        self.port.closed = False
        options.setdefault("axis", self.axis)
        return connect(self.port, self.dialect, self.clock, self.trace, **options)

    def ready(self, **options: Any) -> Controller:
        """Open and prepare a controller."""
        controller = self.open(**options)
        controller.prepare()
        return controller

    def run(self, duration_s: float) -> None:
        """Let time pass with nobody reading."""
        self.clock.advance_to(self.clock.monotonic() + duration_s)
        self.device.moving_at(self.clock.monotonic())


def bench(settings: Mapping[str, float] | None = None, **variant: Any) -> Bench[StatusQueryDevice]:
    """A bench with a board of 100 steps/unit, 6000 units/min and 500 units/s^2 unless `settings` say otherwise."""
    clock = VirtualClock()
    device = StatusQueryDevice(StatusQueryVariant(settings=dict(settings or {}), **variant))
    return Bench(clock, device, MemoryPort(device, clock), MemoryTrace(clock), StatusQueryDialect())


def numbered_bench(settings: Mapping[str, float] | None = None, **variant: Any) -> Bench[NumberedLineDevice]:
    """A bench with a board of 100 steps/unit, 100 units/s and 500 units/s^2 that takes numbered lines."""
    return bench_of(NumberedLineVariant(settings=dict(settings or {}), **variant), "A")


def bench_of(variant: NumberedLineVariant, axis: str = "X") -> Bench[NumberedLineDevice]:
    """A bench with a board of this variant."""
    clock = VirtualClock()
    device = NumberedLineDevice(variant)
    return Bench(clock, device, MemoryPort(device, clock), MemoryTrace(clock), NumberedLineDialect(), axis)


def move_and_stand_still(
    controller: Controller, bench: Bench[Any], steps: int, steps_per_unit: Fraction, planned_s: float
) -> None:
    """Move to `steps` from machine zero at 3000 units/min and wait for the standstill proof."""
    coordinate = f"{float(steps / steps_per_unit):.4f}"
    accepted_s = controller.move_to(coordinate, "3000")
    controller.wait_for_standstill(
        target_steps=steps,
        steps_per_unit=steps_per_unit,
        accepted_at_s=accepted_s,
        planned_duration_s=planned_s,
        deadline_s=accepted_s + planned_s + 30.0,
    )
