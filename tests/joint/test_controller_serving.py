"""The whole way through a pseudo-terminal and a loopback socket, on a clock that runs fast."""

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest

from firmware_host.clock import ScaledClock
from firmware_host.controller.connecting import connect
from firmware_host.controller.controller import Controller
from firmware_host.controller.finding import find
from firmware_host.controller.port.serial_port import open_port
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.status_query.dialect import StatusQueryDialect
from firmware_host.errors import PortBusyError, PortLostError
from firmware_host.simulator.serving.serve import serve
from firmware_host.simulator.serving.server import DeviceServer
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.simulator.status_query.variant import StatusQueryVariant
from tests.support.lines import LINES, Kind

CLOCK_FACTOR = 3.0
UNITS = Fraction(100)


@pytest.fixture(params=LINES)
def served(request: pytest.FixtureRequest) -> Iterator[tuple[DeviceServer, ScaledClock]]:
    kind: Kind = request.param
    clock = ScaledClock(CLOCK_FACTOR)
    with serve(StatusQueryDevice(StatusQueryVariant(), clock.monotonic()), clock, kind=kind) as server:
        yield server, clock


def opened(server: DeviceServer, clock: ScaledClock, folder: Path) -> Controller:
    port = open_port(server.url, baud=115200, clock=clock, lock_folder=folder)
    trace = MemoryTrace(clock)
    controller = connect(port, StatusQueryDialect(), clock, trace, axis="A", greeting_timeout_s=1.0)
    controller.prepare()
    return controller


def test_moves_land_on_their_steps_through_a_real_line(
    served: tuple[DeviceServer, ScaledClock], tmp_path: Path
) -> None:
    server, clock = served
    with opened(server, clock, tmp_path) as controller:
        for steps in (500, -250, 1):
            accepted_s = controller.move_to(f"{steps / 100:.2f}", "3000")
            controller.wait_for_standstill(
                target_steps=steps,
                steps_per_unit=UNITS,
                accepted_at_s=accepted_s,
                planned_duration_s=0.05,
                deadline_s=accepted_s + 600.0,
            )
            assert server.steps_at("A") == steps
            assert not server.moving()
            controller.watch()
    with opened(server, clock, tmp_path) as again:  # the server outlives its client
        assert again.position_steps(again.status()) == pytest.approx(1, abs=0.5)


def test_a_second_owner_is_kept_out(served: tuple[DeviceServer, ScaledClock], tmp_path: Path) -> None:
    server, clock = served
    with opened(server, clock, tmp_path), pytest.raises(PortBusyError, match="in use by process"):
        open_port(server.url, baud=115200, clock=clock, lock_folder=tmp_path)


def test_a_pulled_cable_is_told_and_a_stop_after_it_does_not_raise(
    served: tuple[DeviceServer, ScaledClock], tmp_path: Path
) -> None:
    server, clock = served
    controller = opened(server, clock, tmp_path)
    controller.move_to("1", "3000")
    server.stop()

    def ask_on() -> None:
        while True:
            controller.status()

    with pytest.raises(PortLostError, match="cannot be"):
        ask_on()
    first = controller.stop()
    assert not first.stands_still
    assert controller.stop() is first
    controller.close()
    controller.close()


def test_a_served_board_is_found_by_asking(served: tuple[DeviceServer, ScaledClock], tmp_path: Path) -> None:
    server, clock = served
    (found,) = find(
        [server.url],
        clock,
        open_url=lambda url: open_port(url, baud=115200, clock=clock, lock_folder=tmp_path),
        confirm=lambda url: True,
    )
    assert (found.url, found.dialect) == (server.url, "status-query")
