"""Serve a simulated device at a URL, whichever way this system offers."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Literal

from firmware_host.clock import Clock
from firmware_host.simulator.device import SimulatedDevice
from firmware_host.simulator.serving.server import DeviceServer
from firmware_host.simulator.serving.socket_server import SocketServer


def serve(
    device: SimulatedDevice, clock: Clock, *, kind: Literal["pty", "socket", "auto"] = "auto", link: Path | None = None
) -> DeviceServer:
    """Start serving `device` and return the server; use it as a context manager, or `stop` it.

    `auto` takes a pseudo-terminal where the system has them, else a socket. `link` (pseudo-terminals only) is a
    symbolic link to make. Raises PortUnavailableError if the line cannot be made.
    """
    if kind == "auto":
        kind = "pty" if importlib.util.find_spec("termios") is not None else "socket"
    if kind == "socket":
        return SocketServer(device, clock).start()
    from firmware_host.simulator.serving.pty_server import PtyServer  # not on every system

    return PtyServer(device, clock, link).start()
