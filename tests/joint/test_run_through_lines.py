"""A whole run over a real line, a pseudo-terminal or a socket: the very same port code, and a clock that runs fast."""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from firmware_host.clock import ScaledClock
from firmware_host.controller.port.trace import FileTrace, TraceKind
from firmware_host.errors import PortBusyError, PortLostError
from firmware_host.model import Setup
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.simulator.serving.serve import serve
from firmware_host.simulator.serving.server import DeviceServer
from firmware_host.simulator.status_query.boards import delivered_board
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.station.gates.gate import GateContext
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.opening import open_controller
from firmware_host.station.passes.station import Station
from firmware_host.station.run import run_job
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.settings.known_scale import KnownScales
from firmware_host.station.settings.write import backup_path, write_for_plan
from tests.support.lines import LINES
from tests.support.station_bench import ScriptedOperator, TrueSteps, small_setup

CLOCK_FACTOR = 3.0


class Workshop:
    """A served board as delivered, and everything for one run on it."""

    def __init__(self, server: DeviceServer, clock: ScaledClock, tmp_path: Path) -> None:
        self.server = server
        self.clock = clock
        self.home = tmp_path
        self.setup: Setup = small_setup(passes=1)
        self.plan: JobPlan = plan_job(self.setup)
        self.folder = RunFolder.create(tmp_path / "runs", self.setup.job.name, clock.now())
        self.trace = FileTrace(self.folder.trace, clock)
        self.controller = open_controller(
            self.setup.machine, server.url, clock, self.trace, lock_folder=tmp_path / "locks"
        )
        self.progress = TrueSteps(lambda: server.steps_at("A"))
        self.scales = KnownScales(tmp_path / "controllers")

    def station(self) -> Station:
        operator = ScriptedOperator(self.clock)
        return Station(
            controller=self.controller,
            gate=TimedGate(GateContext(self.clock, operator), 0.5),
            clock=self.clock,
            folder=self.folder,
            scales=self.scales,
            operator=operator,
            progress=self.progress,
        )

    def write_settings(self) -> None:
        backup = backup_path(self.home / "backups", self.server.url, self.clock)
        write_for_plan(self.setup.machine, self.plan, self.controller, self.scales, backup)
        assert backup.exists()


@pytest.fixture(params=LINES)
def workshop(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Workshop]:
    clock = ScaledClock(CLOCK_FACTOR)
    device = StatusQueryDevice(delivered_board("A", highest_step_rate=28000.0), clock.monotonic())
    with serve(device, clock, kind=request.param) as server:
        shop = Workshop(server, clock, tmp_path)
        yield shop
        shop.controller.close()
        shop.trace.close()


def test_a_board_as_delivered_is_set_and_a_job_run_through_a_real_line(workshop: Workshop) -> None:
    workshop.write_settings()
    record = run_job(workshop.setup, workshop.plan, workshop.station())
    targets = workshop.plan.route.segment_targets().tolist()
    assert (record.outcome, record.done, record.step_errors) == ("done", 3, (0, 0, 0))
    assert [true for *_, true in workshop.progress.rests] == targets
    assert workshop.server.steps_at("A") == 0
    assert not workshop.server.moving()
    trace = workshop.folder.trace.read_text("ascii")
    assert f'"kind": "{TraceKind.SENT.value}"' in trace
    assert f'"kind": "{TraceKind.UNMATCHED.value}"' not in trace


def test_a_pulled_cable_ends_the_run_as_a_lost_port_with_its_record(workshop: Workshop) -> None:
    workshop.write_settings()
    workshop.progress.on_stage = lambda text: workshop.server.stop() if "segment 2" in text else None
    with pytest.raises(PortLostError, match="cannot be"):
        run_job(workshop.setup, workshop.plan, workshop.station())
    assert '"outcome": "failed"' in workshop.folder.record.read_text("utf-8")


def test_a_second_program_is_refused_and_told_who_holds_the_port(workshop: Workshop) -> None:
    code = (
        "import sys; from pathlib import Path; from firmware_host.clock import SystemClock;"
        "from firmware_host.controller.port.serial_port import open_port;"
        "from firmware_host.errors import PortBusyError\n"
        "try:\n    open_port(sys.argv[1], baud=115200, clock=SystemClock(), lock_folder=Path(sys.argv[2]))\n"
        "except PortBusyError as error:\n    print(error.holder_pid, error)\n"
    )
    arguments = [sys.executable, "-c", code, workshop.server.url, str(workshop.home / "locks")]
    told = subprocess.run(arguments, capture_output=True, text=True, check=True, timeout=60).stdout
    assert told.startswith(f"{os.getpid()} ")
    assert f"in use by process {os.getpid()}" in told
    with pytest.raises(PortBusyError, match=f"in use by process {os.getpid()}"):
        open_controller(
            workshop.setup.machine,
            workshop.server.url,
            workshop.clock,
            workshop.trace,
            lock_folder=workshop.home / "locks",
        )
