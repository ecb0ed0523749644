"""A station opened for one job: controller, gate, run folder and notes, all closed again at the end."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from firmware_host.clock import Clock, SystemClock
from firmware_host.controller.port.trace import FileTrace
from firmware_host.controller.stored_settings import Difference
from firmware_host.model import Setup
from firmware_host.planning.limits.accept import accepting, read_accepted
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.station.gates.gate import Gate, GateContext, build_gate
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.opening import open_controller, port_of
from firmware_host.station.operator import Operator, TerminalOperator
from firmware_host.station.progress import Progress, SilentProgress
from firmware_host.station.run import Station, require_limits, run_job
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.settings.check import settings_differences
from firmware_host.station.settings.known_scale import KnownScales, state_folder
from firmware_host.station.settings.write import backup_path, write_for_plan
from firmware_host.station.stop_request import StopRequest
from firmware_host.station.zero import AskZero, ZeroAt

MakeGate = Callable[[GateContext], Gate]


@dataclass(frozen=True)
class OpenStation:
    """A job, its plan, and everything that a run of it works with, open. `accepted`: limits that may fail, by name."""

    setup: Setup
    plan: JobPlan
    station: Station
    accepted: tuple[str, ...] = ()

    def run(self, *, zero: ZeroAt | None = None, ask_zero: AskZero | None = None) -> RunRecord:
        """Run the job from its beginning; returns the record. Raises as `run_job`.

        `zero`: "here" where the part stands, "last" where the last run at the port had it, "home" at the home switch.
        Unsaid it is the home switch if there is one, else here; but after a run that did not come to its end, or left
        the part away from its zero, `ask_zero` is asked, and without it `ZeroNotSaidError` is raised. Ctrl-C,
        where Python raises `KeyboardInterrupt` for it, first closes the gate and stops the axis.
        """
        accepted = self.accepted
        return run_job(self.setup, self.plan, self.station, accept_limits=accepted, zero=zero, ask_zero=ask_zero)

    def settings_differences(self) -> tuple[Difference, ...]:
        """What the controller has stored that does not fit the plan; empty if all fits. Writes nothing."""
        return settings_differences(self.setup.machine, self.plan, self.station.controller.settings)

    def write_settings(self, backup: Path | None = None) -> tuple[Difference, ...]:
        """Write the settings that the plan needs and read them back; returns what was written, and what was stored.

        The old ones are kept in the file `backup` first (None: a new one where the command line keeps them). Raises as
        `write_for_plan`.
        """
        controller = self.station.controller
        kept = backup or backup_path(state_folder() / "backups", controller.url, self.station.clock)
        return write_for_plan(
            self.setup.machine,
            self.plan,
            controller,
            self.station.scales,
            kept,
            source=self.setup.machine_source,
            accepted=read_accepted(self.accepted),
        )


@contextmanager
def open_station(
    setup: Setup,
    port: str = "",
    *,
    plan: JobPlan | None = None,
    clock: Clock | None = None,
    runs: Path = Path("runs"),
    operator: Operator | None = None,
    gate: MakeGate | None = None,
    gate_program: tuple[str, ...] = (),
    progress: Progress | None = None,
    stop: StopRequest | None = None,
    accept_limits: Iterable[str] = (),
    baud: int | None = None,
    release_motor: bool = False,
) -> Iterator[OpenStation]:
    """Open the machine's controller at `port` (the machine file's own if empty) for a job; all is closed at the end.

    Uses the job's own gate, with the person at the terminal as its operator, and keeps run folders (below `runs`),
    notes on controllers and locks where the command line keeps them. `gate` makes another gate from its context;
    `gate_program`: what a command gate starts, program and arguments; `plan`: the job's plan, if it was made before;
    `stop` is looked at wherever the run waits, and may be asked by any thread; `baud`: bits per second, the machine
    file's if None; `release_motor`: as in `Station`. Nothing moves until `run`. The thread that opens it is the one
    that uses it: `start_run` runs a job in a thread of its own.

    Raises `LimitExceededError` before anything is opened if a limit stops the job; `accept_limits` are accepted besides
    the job's own, each "NAME" or "NAME=reason", and the run remembers them. `InputError` where no port is named, and as
    `open_controller`.
    """
    accepted = tuple(accept_limits)
    setup = accepting(setup, accepted)
    plan = plan if plan is not None else plan_job(setup)
    require_limits(plan.limits, accepted)
    clock = clock if clock is not None else SystemClock()
    url = port_of(setup.machine, port)
    folder = RunFolder.create(runs, setup.job.name, clock.now())
    with ExitStack() as stack:
        stack.callback(folder.drop_unused)
        station = stack.enter_context(
            station_in(
                folder,
                setup,
                url,
                clock,
                operator=operator or TerminalOperator(),
                gate=gate,
                gate_program=gate_program,
                progress=progress,
                stop=stop,
                baud=baud,
                release_motor=release_motor,
            )
        )
        yield OpenStation(setup, plan, station, accepted)


@contextmanager
def station_in(
    folder: RunFolder,
    setup: Setup,
    url: str,
    clock: Clock,
    *,
    operator: Operator,
    gate: MakeGate | None = None,
    gate_program: tuple[str, ...] = (),
    progress: Progress | None = None,
    stop: StopRequest | None = None,
    baud: int | None = None,
    drop_held_motion: bool = False,
    release_motor: bool = False,
    before_opening: Callable[[Gate], None] | None = None,
) -> Iterator[Station]:
    """A station that works in a run's `folder`, open; gate, trace and controller are closed at the end.

    `gate` makes the gate, the job's own if None; `gate_program`: what a command gate starts; `baud`: bits per second,
    the machine file's if None; `before_opening` gets the gate, and what it raises keeps the port closed; the rest as in
    `Station` and `connect`.
    """
    stop = stop if stop is not None else StopRequest()
    context = GateContext(clock, operator, gate_program, setup.job.name, folder.path)
    with ExitStack() as stack:
        made = gate(context) if gate is not None else build_gate(setup.job.gate, context)
        stack.callback(made.release)
        if before_opening is not None:
            before_opening(made)
        trace = FileTrace(folder.trace, clock)
        stack.callback(trace.close)
        controller = open_controller(
            setup.machine,
            url,
            clock,
            trace,
            baud=baud,
            drop_held_motion=drop_held_motion,
            check=stop.check,
        )
        stack.callback(controller.close)
        yield Station(
            controller=controller,
            gate=made,
            clock=clock,
            folder=folder,
            scales=KnownScales(state_folder()),
            operator=operator,
            progress=progress if progress is not None else SilentProgress(),
            stop=stop,
            release_motor=release_motor,
        )
