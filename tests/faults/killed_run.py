"""A process that runs a job, or resumes it, and may be killed at any instant: python killed_run.py FOLDER URL run.

With `before N` or `after N` behind it, it kills itself at the N-th line of its journal.

Every stage is told on standard output at once. The marking side notes in FOLDER/marked what it began and what it ended;
whoever is asked about a pass looks there.
"""

from __future__ import annotations

import itertools
import os
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from firmware_host.clock import ScaledClock
from firmware_host.controller.port.trace import FileTrace
from firmware_host.model import Setup
from firmware_host.planning.plan import plan_job
from firmware_host.simulator.serving.socket_server import SocketServer
from firmware_host.simulator.status_query.boards import delivered_board
from firmware_host.simulator.status_query.device import StatusQueryDevice
from firmware_host.station.gates.gate import GateContext, PassRequest, PassState
from firmware_host.station.gates.timed import TimedGate
from firmware_host.station.journal.events import JournalEvent
from firmware_host.station.journal.journal import Journal
from firmware_host.station.journal.record import PassRecord
from firmware_host.station.opening import open_controller
from firmware_host.station.passes.station import Station
from firmware_host.station.progress import SilentProgress
from firmware_host.station.resume import resume_run
from firmware_host.station.run import run_job
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.settings.known_scale import KnownScales
from firmware_host.station.settings.write import backup_path, write_for_plan
from tests.support.board_faults import miscount
from tests.support.station_bench import ScriptedOperator, changed_setup

CLOCK_FACTOR = 3.0
PASS_S = 0.15


def setup_of(segments: int) -> Setup:
    """Segments of 10 mm, two passes each, on the shipped shaft."""
    return changed_setup(
        "shaft-scale",
        mark={"arc": f"{10 * segments} mm", "width": "10 mm", "passes": 2},
        segments={"count": segments},
        index={"finish": "unwind", "settle": "0.05 s"},
    )


SETUP = setup_of(12)


@contextmanager
def real_board() -> Iterator[SocketServer]:
    """A simulated controller that another program left away from machine zero."""
    clock = ScaledClock(CLOCK_FACTOR)
    device = StatusQueryDevice(delivered_board("A", highest_step_rate=28000.0), clock.monotonic())
    miscount(device, "A", 500, clock.monotonic())
    with SocketServer(device, clock) as server:
        yield server


class NotingGate(TimedGate):
    """Notes in a file what is begun and what is ended, in one write each."""

    def __init__(self, context: GateContext, path: Path) -> None:
        super().__init__(context, PASS_S)
        self._file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        self._request: PassRequest | None = None

    def open(self, request: PassRequest) -> None:
        self._request = request
        self._note("began")
        super().open(request)

    def poll(self) -> PassState:
        state = super().poll()
        if state is PassState.DONE:
            self._note("ended")
        return state

    def _note(self, word: str) -> None:
        if self._request is not None:
            os.write(self._file, f"{word} {self._request.segment} {self._request.number}\n".encode())


class Telling(SilentProgress):
    """Tells every stage on standard output."""

    def stage(self, text: str) -> None:
        sys.stdout.write(text + "\n")
        sys.stdout.flush()


def die_at_line(how: str, number: int) -> None:
    """Kill this process just before a line of its journal is written, or once it is on the disk."""
    write, lines = Journal.write, itertools.count(1)

    def dying(journal: Journal, event: JournalEvent, *, with_next: bool = False) -> None:
        last = next(lines) == number
        if last and how == "before":
            os.kill(os.getpid(), signal.SIGKILL)
        write(journal, event, with_next=with_next)
        if last:
            os.kill(os.getpid(), signal.SIGKILL)

    Journal.write = dying  # type: ignore[method-assign]


def main(home: Path, url: str, act: str) -> None:
    clock = ScaledClock(CLOCK_FACTOR)
    plan = plan_job(SETUP)
    folder = RunFolder(home / "run")
    folder.path.mkdir(exist_ok=True)
    marked = home / "marked"
    context = GateContext(clock, ScriptedOperator(clock))
    scales = KnownScales(home / "controllers")
    with FileTrace(folder.trace, clock) as trace:
        options: dict[str, Any] = {"lock_folder": home / "locks", "drop_held_motion": act == "resume"}
        with open_controller(SETUP.machine, url, clock, trace, **options) as controller:
            gate = NotingGate(context, marked)
            station = Station(controller, gate, clock, folder, scales, context.operator, progress=Telling())
            if act == "run":
                write_for_plan(SETUP.machine, plan, controller, scales, backup_path(home / "backups", url, clock))
                run_job(SETUP, plan, station)
            else:
                resume_run(station, ask=lambda entry: looked_at(marked, home / "asked", entry))


def looked_at(marked: Path, asked: Path, entry: PassRecord) -> bool:
    """Whether the pass was marked to its end; that it was asked about is noted."""
    key = f"{entry.segment} {entry.number}"
    done = f"ended {key}\n" in marked.read_text("ascii")
    with asked.open("a") as file:
        file.write(f"{key} {'done' if done else 'not done'}\n")
    return done


if __name__ == "__main__":
    if len(sys.argv) > 4:
        die_at_line(sys.argv[4], int(sys.argv[5]))
    main(Path(sys.argv[1]), sys.argv[2], sys.argv[3])
