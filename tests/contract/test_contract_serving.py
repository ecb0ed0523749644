"""A slice of the contract through a pseudo-terminal and a loopback socket, on a clock that runs fast."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from firmware_host.clock import ScaledClock
from firmware_host.controller.connecting import connect
from firmware_host.controller.controller import Controller
from firmware_host.controller.finding import find
from firmware_host.controller.port.serial_port import open_port
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.reply import AxisState
from firmware_host.errors import PortLostError
from firmware_host.simulator.serving.serve import serve
from firmware_host.simulator.serving.server import DeviceServer
from tests.contract.spoken import MIXED, PLAIN, STATED, STEPS_PER_UNIT, Case
from tests.support.lines import LINES, Kind

CLOCK_FACTOR = 6.0
SERVED = ("plain", "work positions", "hasty", "listing")
CASES = [case for case in MIXED if case.name.partition("/")[2] in SERVED]


@dataclass
class Served:
    case: Case
    server: DeviceServer
    clock: ScaledClock
    folder: Path

    def ready(self) -> Controller:
        port = open_port(self.server.url, baud=115200, clock=self.clock, lock_folder=self.folder)
        controller = connect(
            port,
            self.case.spoken.dialect(),
            self.clock,
            MemoryTrace(self.clock),
            axis=self.case.axis,
            stated=STATED,
            greeting_timeout_s=2.0,
        )
        controller.prepare()
        return controller


@pytest.fixture(params=LINES)
def served(request: pytest.FixtureRequest, case: Case, tmp_path: Path) -> Iterator[Served]:
    kind: Kind = request.param
    clock = ScaledClock(CLOCK_FACTOR)
    with serve(case.spoken.device(case.variant, clock.monotonic()), clock, kind=kind) as server:
        yield Served(case, server, clock, tmp_path)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_moves_land_on_their_steps_through_a_real_line(served: Served) -> None:
    with served.ready() as controller:
        for steps in (500, -250, -249):
            accepted_s = controller.move_to(f"{float(steps / STEPS_PER_UNIT):.2f}", "3000")
            controller.wait_for_standstill(
                target_steps=steps,
                steps_per_unit=STEPS_PER_UNIT,
                accepted_at_s=accepted_s,
                planned_duration_s=0.05,
                deadline_s=accepted_s + 600.0,
            )
            assert not served.server.moving()
            assert served.case.sign * served.server.steps_at(served.case.axis) == steps
            controller.watch()
        assert controller.stop().stands_still


@pytest.mark.parametrize("case", PLAIN, ids=str)
def test_a_pulled_cable_is_told_within_two_seconds(served: Served) -> None:
    controller = served.ready()
    controller.move_to("1", "3000")
    served.server.stop()
    pulled_s = served.clock.monotonic()

    def ask_on() -> None:
        while True:
            controller.status()

    with pytest.raises(PortLostError, match="cannot be"):
        ask_on()
    told_s = served.clock.monotonic() - pulled_s
    assert not controller.stop().stands_still
    controller.close()
    controller.close()
    assert told_s < 2.0 * CLOCK_FACTOR  # 2 s, or the same of this machine's own time on a busy machine


@pytest.mark.parametrize("case", PLAIN, ids=str)
def test_a_board_is_found_with_its_dialect_axes_and_settings_and_nothing_moves(served: Served) -> None:
    (found,) = find(
        [served.server.url],
        served.clock,
        open_url=lambda url: open_port(url, baud=115200, clock=served.clock, lock_folder=served.folder),
        confirm=lambda url: True,
    )
    assert found.dialect == served.case.spoken.dialect().name
    assert found.description is not None
    assert found.description.axes == served.case.variant.axes.removesuffix("E")
    names = served.case.spoken.dialect().setting_names(served.case.axis)
    assert found.description.settings[names.steps_per_unit].startswith("100.0")
    with served.ready() as controller:
        assert controller.status().state is AxisState.READY
        assert served.server.steps_at(served.case.axis) == 0
