"""Serve a simulated device at a URL: on a loopback socket, or behind a pseudo-terminal where there are any."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from firmware_host.clock import Clock
from firmware_host.errors import PortUnavailableError
from firmware_host.simulator.device import SimulatedDevice
from firmware_host.simulator.serving.server import DeviceServer
from firmware_host.simulator.serving.socket_server import SocketServer


def serve(
    device: SimulatedDevice,
    clock: Clock,
    *,
    kind: Literal["socket", "pty"] = "socket",
    port: int = 0,
    link: Path | None = None,
) -> DeviceServer:
    """Start serving `device` and return the server; use it as a context manager, or `stop` it.

    `port`: of the socket, 0 for a free one. `link` (pseudo-terminals only) is a symbolic link to make. Raises
    `PortUnavailableError` if the line cannot be made, or this system has no pseudo-terminals.
    """
    if kind == "socket":
        return SocketServer(device, clock, port).start()
    try:
        from firmware_host.simulator.serving.pty_server import PtyServer  # not on every system
    except ImportError as error:
        raise PortUnavailableError(
            url="pseudo-terminal", detail="this system has none; serve it on a loopback socket"
        ) from error
    return PtyServer(device, clock, link).start()
