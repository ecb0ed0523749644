"""A station opened for one job: controller, gate, run folder and notes, all closed again at the end."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TypedDict, Unpack

from firmware_host.clock import Clock, SystemClock
from firmware_host.controller.port.trace import FileTrace
from firmware_host.controller.stored_settings import Difference
from firmware_host.errors import InputError
from firmware_host.model import Setup
from firmware_host.model.machine.machine import Axis
from firmware_host.planning.limits.accept import accepting, read_accepted
from firmware_host.planning.plan import JobPlan, plan_job
from firmware_host.station.gates.gate import Gate, GateContext, build_gate
from firmware_host.station.journal.record import RunRecord
from firmware_host.station.opening import open_controller, port_of
from firmware_host.station.operator import Operator, TerminalOperator
from firmware_host.station.passes.choice import EVERY_PASS, PassChoice
from firmware_host.station.passes.control import RunControl
from firmware_host.station.passes.station import Station
from firmware_host.station.progress import Progress, SilentProgress
from firmware_host.station.run import require_limits, run_job
from firmware_host.station.runs.folder import RunFolder
from firmware_host.station.settings.compared import compare_settings
from firmware_host.station.settings.known_scale import KnownScales, state_folder
from firmware_host.station.settings.write import backup_path, write_for_plan
from firmware_host.station.state.outlet import Outlet
from firmware_host.station.state.publisher import publishing_state
from firmware_host.station.stop_request import StopRequest, stopped_while
from firmware_host.station.zero import AskZero, ZeroAt

MakeGate = Callable[[GateContext], Gate]


class RunOptions(TypedDict, total=False):
    """How a run is opened in a thread of its own; what is left out or None is as the command line has it.

    `gate` makes another gate than the job's from its context; `gate_program`: what a command gate starts, program and
    arguments; `baud`: bits per second, else the machine file's; `release_motor`: as in `Station`; `state`: where the
    state of the run is told to others, files, "tcp:PORT" and outlets (see `state.publisher.open_outlet`).
    """

    clock: Clock | None
    gate: MakeGate | None
    gate_program: tuple[str, ...]
    baud: int | None
    release_motor: bool
    state: tuple[str | Outlet, ...]


class StationOptions(RunOptions, total=False):
    """How a station is opened; `stop` is looked at wherever the run waits, and may be asked by any thread.

    `control`: more wishes for the run, `stop` among them; one of the two is enough.
    """

    operator: Operator | None
    progress: Progress | None
    stop: StopRequest | None
    control: RunControl | None


@dataclass(frozen=True)
class OpenStation:
    """A job, its plan, and everything that a run of it works with, open. `accepted`: limits that may fail, by name."""

    setup: Setup
    plan: JobPlan
    station: Station
    accepted: tuple[str, ...] = ()
    baud: int | None = None

    def run(
        self,
        *,
        zero: ZeroAt | None = None,
        ask_zero: AskZero | None = None,
        write_settings: Callable[[], object] | None = None,
        passes: PassChoice | str = EVERY_PASS,
    ) -> RunRecord:
        """Run the job from its beginning; returns the record. Raises as `run_job`.

        `passes`: which segments are marked ("2-4", "1,3", "4-" from 4 on), all unless it is said.

        `zero`: "here" where the part stands, "last" where the last run at the port had it, "home" at the home switch.
        Unsaid it is the home switch if there is one, else here; but after a run that did not come to its end, or left
        the part away from its zero, `ask_zero` is asked, and without it `ZeroNotSaidError` is raised. Ctrl-C,
        where Python raises `KeyboardInterrupt` for it, first closes the gate and stops the axis. `write_settings`, such
        as the method below, writes settings first, once nothing else can refuse the run.
        """
        return run_job(
            self.setup,
            self.plan,
            self.station,
            accept_limits=self.accepted,
            zero=zero,
            ask_zero=ask_zero,
            write_settings=write_settings,
            passes=PassChoice.only(passes) if isinstance(passes, str) else passes,
        )

    def settings_differences(self) -> tuple[Difference, ...]:
        """What the controller lists that does not fit the plan; empty if all fits. Writes nothing."""
        station = self.station
        return compare_settings(self.setup.machine, self.plan, station.controller, station.scales).needed

    def write_settings(
        self, backup: Path | None = None, *, announce: Callable[[Path], None] = lambda backup: None
    ) -> tuple[Difference, ...]:
        """Write the settings that the plan needs and read them back; returns what was written, and what was stored.

        The old ones are kept in the file `backup` first (None: a new one where the command line keeps them), which
        `announce` is told. Raises as `write_for_plan`.
        """
        controller = self.station.controller
        kept = backup or backup_path(state_folder() / "backups", controller.url, self.station.clock)
        return write_for_plan(
            self.setup.machine,
            self.plan,
            controller,
            self.station.scales,
            kept,
            announce=announce,
            source=self.setup.machine_source,
            baud=self.baud,
            accepted=read_accepted(self.accepted),
        )


@contextmanager
def open_station(
    setup: Setup,
    port: str = "",
    *,
    plan: JobPlan | None = None,
    runs: Path = Path("runs"),
    accept_limits: Iterable[str] = (),
    **options: Unpack[StationOptions],
) -> Iterator[OpenStation]:
    """Open the machine's controller at `port` (the machine file's own if empty) for a job; all is closed at the end.

    Uses the job's own gate, with the person at the terminal as its operator, and keeps run folders (below `runs`),
    notes on controllers and locks where the command line keeps them, unless `options` say otherwise; `plan`: the job's
    plan, if it was made before. Nothing moves until `run`. The thread that opens it is the one that uses it:
    `start_run` runs a job in a thread of its own.

    Raises `LimitExceededError` before anything is opened if a limit stops the job; `accept_limits` are accepted besides
    the job's own, each "NAME" or "NAME=reason", and the run remembers them. `InputError` where no port is named, and as
    `open_controller`; `StoppedError` where it is stopped before it is open.
    """
    accepted = tuple(accept_limits)
    setup = accepting(setup, accepted)
    control = options.get("control") or RunControl(options.get("stop"))
    options["control"] = control
    if plan is None:
        with stopped_while("planning"):
            plan = plan_job(setup, check=control.stop.check)
    require_limits(plan.limits, accepted)
    url = port_of(setup.machine, port)
    folder = RunFolder.create(runs, setup.job.name, (options.get("clock") or SystemClock()).now())
    with open_in(folder, setup, plan, url, accepted=accepted, **options) as opened:
        yield opened


@contextmanager
def open_in(
    folder: RunFolder,
    setup: Setup,
    plan: JobPlan,
    url: str,
    *,
    accepted: tuple[str, ...] = (),
    **options: Unpack[StationOptions],
) -> Iterator[OpenStation]:
    """As `open_station`, in a run's new `folder`, which is removed again if no run begins in it."""
    with ExitStack() as stack:
        stack.callback(folder.drop_unused)
        station = stack.enter_context(station_in(folder, setup, url, **options))
        yield OpenStation(setup, plan, station, accepted, options.get("baud"))


def require_holding(axis: Axis, *, release_motor: bool) -> None:
    """Raise `InputError` where a run would release the motor of an axis whose part then turns away."""
    if release_motor and axis.unpowered == "turns":
        problem = "the part turns away when the motor is released (axis.unpowered)"
        raise InputError(problem, "Run without releasing the motor", key="release_motor")


@contextmanager
def station_in(
    folder: RunFolder,
    setup: Setup,
    url: str,
    *,
    clock: Clock | None = None,
    operator: Operator | None = None,
    gate: MakeGate | None = None,
    gate_program: tuple[str, ...] = (),
    progress: Progress | None = None,
    stop: StopRequest | None = None,
    control: RunControl | None = None,
    baud: int | None = None,
    release_motor: bool = False,
    state: tuple[str | Outlet, ...] = (),
    drop_held_motion: bool = False,
    before_opening: Callable[[Gate], None] | None = None,
) -> Iterator[Station]:
    """A station that works in a run's `folder`, open; gate, trace and controller are closed at the end.

    Options as `StationOptions`; `before_opening` gets the gate, and what it raises keeps the port closed;
    `drop_held_motion` as in `connect`.
    """
    require_holding(setup.machine.axis, release_motor=release_motor)
    clock = clock if clock is not None else SystemClock()
    operator = operator if operator is not None else TerminalOperator()
    control = control if control is not None else RunControl(stop)
    context = GateContext(clock, operator, gate_program, setup.job.name, folder.path)
    with ExitStack() as stack:
        told = progress if progress is not None else SilentProgress()
        told = stack.enter_context(publishing_state(state, setup.job.name, clock, told))
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
            check=control.stop.check,
        )
        stack.callback(controller.close)
        yield Station(
            controller=controller,
            gate=made,
            clock=clock,
            folder=folder,
            scales=KnownScales(state_folder()),
            operator=operator,
            progress=told,
            control=control,
            release_motor=release_motor,
        )
