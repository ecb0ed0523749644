"""Opening the controller that a machine's file describes."""

from __future__ import annotations

from pathlib import Path

from firmware_host.clock import Clock
from firmware_host.controller.controller import Controller
from firmware_host.controller.registry import load_dialect
from firmware_host.controller.serial_port import open_port
from firmware_host.controller.session import GREETING_S
from firmware_host.controller.trace import Trace
from firmware_host.errors import InputError
from firmware_host.model import Machine


def port_of(machine: Machine, url: str) -> str:
    """The port to use: `url` if given, else the machine's. Raises `InputError` when neither names one."""
    chosen = url or machine.link.port
    if not chosen:
        raise InputError(
            "no port is named", "Give --port DEVICE, or link.port in the machine file (circumstep controller find)"
        )
    return chosen


def open_controller(
    machine: Machine,
    url: str,
    clock: Clock,
    trace: Trace,
    *,
    baud: int | None = None,
    lock_folder: Path | None = None,
    drop_held_motion: bool = False,
) -> Controller:
    """Open the machine's controller at `url` without moving anything; errors as `open_port` and `Controller.open`."""
    link = machine.link
    dialect = load_dialect(link.dialect)
    port = open_port(url, baud=baud or link.baud, clock=clock, lock_folder=lock_folder)
    wait_s = link.reset_wait.si if link.reset_wait is not None else GREETING_S
    return Controller.open(
        port,
        dialect,
        clock,
        trace,
        axis=machine.axis.letter,
        greeting_timeout_s=wait_s,
        drop_held_motion=drop_held_motion,
    )
