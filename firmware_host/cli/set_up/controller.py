"""`controller`: find one, show its state, compare and write its settings, or simulate one."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from firmware_host.acts import WriteSettings
from firmware_host.cli.input.arguments import (
    AcceptOption,
    BaudOption,
    DetailsOption,
    JobArgument,
    JsonOption,
    PortOption,
    StationOption,
)
from firmware_host.cli.input.at_station import machine_at, setup_at
from firmware_host.cli.input.planned import loaded, planned, read
from firmware_host.cli.screen import documents, output
from firmware_host.cli.screen.advice import advice_lines, completing_acts
from firmware_host.cli.set_up.practice import standing_by
from firmware_host.clock import ScaledClock, SystemClock
from firmware_host.controller.controller import Controller
from firmware_host.controller.finding import list_devices
from firmware_host.controller.port.trace import MemoryTrace
from firmware_host.controller.reply import AxisState
from firmware_host.errors import EXIT_CHECK_FAILED, EXIT_STOPPED, PortUnavailableError
from firmware_host.model import Machine, load_machine
from firmware_host.model.files.at_station import AtStation
from firmware_host.planning.limits.accept import require_may_move, stopping
from firmware_host.reporting.machines.controllers import (
    Lock,
    controller_document,
    fitting_text,
    found_document,
    settings_document,
)
from firmware_host.simulator.boards import board_names, simulated_device
from firmware_host.simulator.serving.serve import serve
from firmware_host.station.opening import find_controllers, open_controller, port_of
from firmware_host.station.settings.compared import LookedAt, compare_settings
from firmware_host.station.settings.known_scale import KnownScales, state_folder
from firmware_host.station.settings.real_move import refusal
from firmware_host.station.settings.restore import kept_settings, newest_backup, port_gone, restore_kept
from firmware_host.station.settings.write import backup_path, changed_along, write_for_plan
from firmware_host.station.stop_request import StopRequest, stopped_while

controller_app = typer.Typer(no_args_is_help=True)
settings_app = typer.Typer(help="The controller's stored settings.", no_args_is_help=True)
controller_app.add_typer(settings_app, name="settings")

_EXAMPLE = "belt-chuck"
_MORE = "--details: axes, buffers and all settings of each controller."
MachineOption = Annotated[
    str, typer.Option("--machine", help=f"Machine file or profile (default: the station's, else {_EXAMPLE}).")
]


class LineKind(StrEnum):
    """How a simulated controller is reached."""

    SOCKET = "socket"
    PTY = "pty"


@contextmanager
def _open(
    machine: Machine, source: str, port: str, baud: int | None, *, drop_held_motion: bool = False
) -> Iterator[Controller]:
    """The machine's controller; `source` is the file or the profile that the machine was read from."""
    clock, url = SystemClock(), port_of(machine, port)
    trace, stop = MemoryTrace(clock), StopRequest()
    with (
        completing_acts(machine=source, port=url),
        stop.on_signals(),
        stopped_while("talking to the controller"),
        open_controller(
            machine, url, clock, trace, baud=baud, drop_held_motion=drop_held_motion, check=stop.check
        ) as controller,
    ):
        yield controller


def _lock(controller: Controller, here: AtStation) -> Lock | None:
    """How the controller is locked; None if it isn't."""
    return Lock.of(controller.status().state, controller.settings, port=controller.url, machine=here.source)


def _open_at(here: AtStation, *, drop_held_motion: bool = False) -> AbstractContextManager[Controller]:
    return _open(here.machine, here.source, here.port, here.baud, drop_held_motion=drop_held_motion)


@controller_app.command("find")
def find_command(
    port: Annotated[
        list[str] | None, typer.Option("--port", help="Look only at this port; may be given again.")
    ] = None,
    baud: BaudOption = None,
    yes: Annotated[
        bool, typer.Option("--yes", help="Open each port without asking; opening resets many boards.")
    ] = False,
    json: JsonOption = False,
    details: DetailsOption = False,
) -> None:
    """Look for controllers on the serial ports; asks before it opens a port, because opening resets many boards."""
    urls = tuple(port) if port else tuple(device.url for device in list_devices())

    def confirm(url: str) -> bool:
        return yes or typer.confirm(f"Open {url}? It may reset the board: is nothing moving?", err=True)

    findings = find_controllers(SystemClock(), confirm=confirm, urls=urls, baud=baud)
    documents.show(found_document(findings), json=json, details=details, more=_MORE)
    if not urls and not json:
        output.remark("no serial port found")


@controller_app.command("show")
def show_command(
    machine: MachineOption = "",
    station: StationOption = "",
    port: PortOption = "",
    baud: BaudOption = None,
    json: JsonOption = False,
) -> None:
    """Show a controller's state, position, the settings of the machine's axis, and what is known of the board."""
    here = machine_at(machine, station=station, port=port, baud=baud, otherwise=_EXAMPLE)
    with _open_at(here) as controller:
        document = controller_document(
            controller.url,
            controller.greeting.text if controller.greeting else None,
            controller.status(),
            controller.settings,
            messages=controller.messages,
            strays=controller.strays,
            learned=controller.learned,
            lock=_lock(controller, here),
        )
    documents.show(document, json=json)


@settings_app.command("compare")
def compare_command(
    job: JobArgument,
    station: StationOption = "",
    port: PortOption = "",
    baud: BaudOption = None,
    json: JsonOption = False,
) -> None:
    """Compare the stored settings with those that a job needs; status 1 if any differs."""
    setup = read(job)
    here = setup_at(setup, station=station, port=port, baud=baud)
    plan = planned(setup)
    with _open_at(here) as controller:
        compared = compare_settings(setup.machine, plan, controller, KnownScales(state_folder()))
        lock = _lock(controller, here)
        refused = refusal(setup, plan, controller)
    document = settings_document(compared, WriteSettings(job, here.port), lock)
    documents.show(document, json=json, remarks=setup.remarks)
    if stops := stopping(plan.limits.checks):
        output.remark(f"whatever the settings, a limit stops the job: {', '.join(check.name for check in stops)}")
    if refused is not None:
        output.remark(f"whatever the settings, a run is refused on this board: {refused}")
    if compared.refusal:
        output.remark(f"whatever the settings, a run begun where the axis stands is refused: {compared.refusal}")
    if compared.needed or refused is not None or compared.refusal:
        raise typer.Exit(EXIT_CHECK_FAILED)


@settings_app.command("write")
def write_command(
    job: JobArgument,
    station: StationOption = "",
    port: PortOption = "",
    baud: BaudOption = None,
    backup: Annotated[Path | None, typer.Option(metavar="FILE", help="File in which to keep the old settings.")] = None,
    accept_limit: AcceptOption = None,
) -> None:
    """Write the settings that a job needs, read them back, and keep the old ones in a file.

    Refused if a limit stops the job: what is written would let the axis move at its acceleration.
    """
    setup = loaded(job, accept_limit)
    here = setup_at(setup, station=station, port=port, baud=baud)
    plan = planned(setup)
    require_may_move(plan.limits.checks)
    with _open_at(here) as controller:
        kept = backup or backup_path(state_folder() / "backups", controller.url, SystemClock())
        scales = KnownScales(state_folder())
        written = write_for_plan(
            setup.machine,
            plan,
            controller,
            scales,
            kept,
            announce=output.announce_backup,
            source=setup.machine_source,
            baud=here.baud,
        )
        fits = fitting_text(LookedAt.of(controller))
        lock = _lock(controller, here)
    output.lines(f"written: {d.name} ({d.key}): {d.wanted}, was {d.stored}{d.note and ': '}{d.note}" for d in written)
    output.lines(f"changed by the controller with that: {told}" for told in changed_along(controller, written))
    if lock is not None:
        output.lines([lock.text, *advice_lines((lock.unlock,))])
    output.lines([fits if written else f"nothing to write: {fits}"])


@settings_app.command("restore")
def restore_command(
    backup: Annotated[
        Path | None,
        typer.Argument(metavar="FILE", help="A file that `settings write` kept (default: the newest of the port)."),
    ] = None,
    machine: Annotated[str, typer.Option("--machine", help="Machine file or profile (default: the backup's).")] = "",
    port: Annotated[str, typer.Option("--port", help="The controller's port (default: the backup's).")] = "",
    baud: BaudOption = None,
) -> None:
    """Write the settings of a backup file again; it knows its machine and port."""
    described = load_machine(machine) if machine else None
    path = backup or _newest_backup(machine, port, baud)
    kept = kept_settings(path, machine=described, source=machine, port=port)
    try:
        with _open(kept.machine, kept.source, kept.url, baud) as controller:
            restore_kept(controller, kept.path, KnownScales(state_folder()))
    except PortUnavailableError as error:
        raise error if port else port_gone(error, path) from error
    output.lines([f"the settings kept in {kept.path} are back"])


def _newest_backup(machine: str, port: str, baud: int | None) -> Path:
    """The newest backup of the port that is named, else of the station's or the machine's."""
    here = machine_at(machine, station="", port=port, baud=baud, otherwise=_EXAMPLE)
    return newest_backup(state_folder() / "backups", port_of(here.machine, here.port))


@controller_app.command("unlock")
def unlock_command(
    machine: MachineOption = "", station: StationOption = "", port: PortOption = "", baud: BaudOption = None
) -> None:
    """End the lock after an alarm, or drop a paused motion; moves nothing. First find out why it was locked."""
    here = machine_at(machine, station=station, port=port, baud=baud, otherwise=_EXAMPLE)
    with _open_at(here, drop_held_motion=True) as controller:
        if controller.status().state is AxisState.LOCKED:
            controller.unlock()
        state = controller.status().state
    output.lines([f"the controller is {state.value}; its position is uncertain: begin a run at the job's zero"])


@controller_app.command("clear-offset")
def clear_offset_command(
    machine: MachineOption = "", station: StationOption = "", port: PortOption = "", baud: BaudOption = None
) -> None:
    """Take back an offset that another program left in effect; moves nothing."""
    here = machine_at(machine, station=station, port=port, baud=baud, otherwise=_EXAMPLE)
    with _open_at(here) as controller:
        known = KnownScales(state_folder()).recall(controller.url, controller.settings)
        steps = controller.position_steps(controller.clear_offset(known=known))
        output.lines([f"no offset is in effect; axis {controller.axis} stands at machine step {steps:.0f}"])


@controller_app.command("simulate")
def simulate_command(
    machine: Annotated[str, typer.Option("--machine", help="Machine file or profile.")] = _EXAMPLE,
    kind: Annotated[
        LineKind, typer.Option(help="Loopback socket, or pseudo-terminal (not on Windows).")
    ] = LineKind.SOCKET,
    socket_port: Annotated[
        int, typer.Option(min=0, max=65535, metavar="NUMBER", help="Port of the socket; 0 for a free one.")
    ] = 0,
    clock: Annotated[
        float, typer.Option(min=0.1, max=1000, help="How many times faster than real all but moves is.")
    ] = 1.0,
    link: Annotated[Path | None, typer.Option(help="Serve a pseudo-terminal, with this link to it.")] = None,
    delivered: Annotated[bool, typer.Option("--delivered", help="Start with factory settings.")] = False,
    dialect: Annotated[str, typer.Option(help="Dialect that it speaks (default: the machine's).")] = "",
    board: Annotated[str, typer.Option(metavar="NAME", help=f"A recorded board: {', '.join(board_names())}.")] = "",
    true_machine: Annotated[
        str, typer.Option("--true-machine", metavar="FILE", help="What was really built, to practise on (docs).")
    ] = "",
    readings: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Append what would be read at each standstill, as JSON lines.")
    ] = None,
    seed: Annotated[int, typer.Option(min=0, help="Of how far each reading is off.")] = 1,
) -> None:
    """Serve a simulated controller for any program until Ctrl-C; prints the port to open."""
    described = load_machine(machine)
    time = ScaledClock(clock)
    true_axis = standing_by(described, true_machine, readings, seed)
    device = simulated_device(
        described,
        delivered=delivered,
        start_s=time.monotonic(),
        dialect=dialect,
        board=board,
        true_axis=true_axis,
    )
    device.make_moves_last(clock)
    stop = StopRequest()
    with (
        stop.on_signals(),
        serve(device, time, kind="pty" if link is not None else kind.value, port=socket_port, link=link) as line,
    ):
        output.lines([line.url])
        sys.stdout.flush()
        while stop.reason is None:
            time.sleep(0.2 * clock)
    raise typer.Exit(EXIT_STOPPED if stop.reason != "Ctrl-C" else 0)


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.add_typer(controller_app, name="controller")
