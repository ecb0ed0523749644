"""Opening the controller that a machine's file describes, and finding one where nobody knows yet."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from concurrent.futures import Future, wait
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from firmware_host.acts import FindControllers
from firmware_host.clock import Clock
from firmware_host.controller.connecting import connect
from firmware_host.controller.controller import Controller
from firmware_host.controller.deadlines import GREETING_S
from firmware_host.controller.finding import Finding, find, list_devices
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.serial_port import open_port
from firmware_host.controller.port.trace import Trace
from firmware_host.controller.registry import load_dialect
from firmware_host.controller.sender import LOOK_S
from firmware_host.controller.stored_settings import StatedSettings
from firmware_host.errors import InputError
from firmware_host.model import Machine
from firmware_host.station.stop_request import stopped_while

USUAL_BAUD = 115200
"""Line speed of most boards, bits per second."""
OTHER_BAUDS = (250000, 57600, 38400, 19200, 9600, 230400)
"""Line speeds that boards are set to as well, the likeliest first; common practice, no source."""


def port_of(machine: Machine, url: str) -> str:
    """The port to use: `url` if given, else the machine's. Raises `InputError` when neither names one."""
    chosen = url or machine.link.port
    if not chosen:
        raise InputError(
            "no port is named",
            "Name the controller's port, or keep a station for this machine with its port",
            acts=(FindControllers(),),
        )
    return chosen


def stated_settings(machine: Machine) -> StatedSettings:
    """What the machine's file states of its controller's settings, in the controller's units (axis units, per min)."""
    stated = machine.link.stated
    units = machine.drive.axis_units_per_shaft_turn(machine.axis.unit) or Fraction(1)  # None: refused by the model
    return StatedSettings(
        steps_per_unit=None if stated.steps_per_unit is None else Fraction(stated.steps_per_unit),
        rate_units_per_min=None if stated.rate is None else 60 * stated.rate.exact * units,
        acceleration_units_per_s2=None if stated.acceleration is None else stated.acceleration.exact * units,
        start_jump_units_per_s=None if stated.start_jump is None else stated.start_jump.exact * units,
        rates_per_s=None if stated.rates_per is None else stated.rates_per == "s",
        second_step_after_s=None if stated.second_step_after is None else stated.second_step_after.si,
        shortest_move_steps=stated.shortest_move,
        quick_stop=stated.quick_stop,
    )


def open_controller(
    machine: Machine,
    url: str,
    clock: Clock,
    trace: Trace,
    *,
    baud: int | None = None,
    lock_folder: Path | None = None,
    drop_held_motion: bool = False,
    check: Callable[[], None] = lambda: None,
) -> Controller:
    """Open the machine's controller at `url` without moving anything; errors as `open_port` and `connect`.

    `check`: what every wait looks at, while opening and later; what it raises ends the wait. `StoppedError` if that
    is a wish to stop, while opening.
    """
    link = machine.link
    dialect = load_dialect(link.dialect)
    wait_s = link.reset_wait.si if link.reset_wait is not None else GREETING_S
    with stopped_while("opening the controller"):
        check()
        port = _opened(lambda: open_port(url, baud=baud or link.baud, clock=clock, lock_folder=lock_folder), url, check)
        return connect(
            port,
            dialect,
            clock,
            trace,
            axis=machine.axis.letter,
            stated=stated_settings(machine),
            greeting_timeout_s=wait_s,
            drop_held_motion=drop_held_motion,
            check=check,
        )


def _opened(open_it: Callable[[], Port], url: str, check: Callable[[], None]) -> Port:
    """The port. Over a network that may take seconds: it is opened by a thread, and `check` is called meanwhile.

    If that raises, the port is given back as soon as it is open.
    """
    if "://" not in url:
        return open_it()
    opened: Future[Port] = Future()

    def work() -> None:
        try:
            opened.set_result(open_it())
        except Exception as error:  # noqa: BLE001 - whoever waits for it is told
            opened.set_exception(error)

    threading.Thread(target=work, name="opening", daemon=True).start()
    try:
        while opened not in wait((opened,), LOOK_S).done:
            check()
    except BaseException:
        opened.add_done_callback(lambda late: late.exception() or late.result().close())
        raise
    return opened.result()


def find_controllers(
    clock: Clock,
    *,
    confirm: Callable[[str], bool],
    urls: Iterable[str] | None = None,
    baud: int | None = None,
    lock_folder: Path | None = None,
) -> tuple[Finding, ...]:
    """Ask at each of `urls` (all serial ports of this computer if None) who is there: one Finding each, in order.

    `confirm(url)` is asked before a port is opened, for that resets many boards; False leaves it alone. `baud`: line
    speed, bits per second; None: `USUAL_BAUD`, and where what comes then is no text, those of `OTHER_BAUDS` one after
    the other. A port that is busy, gone or silent is a Finding, not an error.
    """
    chosen = [device.url for device in list_devices()] if urls is None else urls

    def at(url: str, rate: int, may: Callable[[str], bool]) -> Finding:
        def open_url(name: str) -> Port:
            return open_port(name, baud=rate, clock=clock, lock_folder=lock_folder)

        return find((url,), clock, open_url=open_url, confirm=may)[0]

    def there(url: str) -> Finding:
        found = at(url, USUAL_BAUD if baud is None else baud, confirm)
        for rate in OTHER_BAUDS if baud is None and found.noise else ():
            other = at(url, rate, lambda name: True)
            if other.dialect is not None:
                return replace(other, baud=rate)
        return found

    return tuple(map(there, chosen))
