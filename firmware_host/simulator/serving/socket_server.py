"""A simulated device behind a TCP socket on the loopback interface."""

from __future__ import annotations

import socket

from firmware_host.clock import Clock
from firmware_host.errors import LinkError, PortUnavailableError
from firmware_host.simulator.device import SimulatedDevice
from firmware_host.simulator.serving.server import DeviceServer
from firmware_host.system.sockets import HOST, Waitable, listen, wait

READ_SIZE = 4096
OPENING_PAUSE_S = 0.05
"""Real time for which a new client is not spoken to: many drop what comes while they open."""


class SocketServer(DeviceServer):
    """Serves one client at a time; the next one waits until that one leaves. `port` 0 takes a free one and keeps it.

    A client that connects is a port being opened: whether that resets the board is the device's affair.
    """

    def __init__(self, device: SimulatedDevice, clock: Clock, port: int = 0) -> None:
        super().__init__(device, clock)
        self._port = port
        self._listener: socket.socket | None = None
        self._client: socket.socket | None = None

    @property
    def url(self) -> str:
        if not self._port:
            raise LinkError(url=f"socket://{HOST}", detail="the server has not been started")
        return f"socket://{HOST}:{self._port}"

    def _open(self) -> None:
        try:
            listener = listen(self._port, callers=1)
        except OSError as error:
            raise PortUnavailableError(
                url=f"socket://{HOST}:{self._port}", detail=error.strerror or str(error)
            ) from error
        self._port = listener.getsockname()[1]
        self._listener = listener

    def _close(self) -> None:
        for end in (self._client, self._listener):
            if end is not None:
                end.close()
        self._client = self._listener = None

    def _watched(self) -> list[Waitable]:
        end = self._client or self._listener
        return [end] if end is not None else []

    def _line_out(self) -> Waitable | None:
        return self._client

    def _write(self, data: bytes) -> int:
        return 0 if self._client is None else self._client.send(data)

    def _take(self) -> bytes:
        if self._client is None:
            self._accept()
            return b""
        try:
            data = self._client.recv(READ_SIZE)
        except BlockingIOError:
            return b""
        except ConnectionError:
            data = b""
        if not data:
            self._client_gone()
        return data

    def _accept(self) -> None:
        if self._listener is None:
            return
        try:
            client, _address = self._listener.accept()
        except (BlockingIOError, ConnectionError):
            return
        client.setblocking(False)
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._client = client
        self._client_opened()
        wait([client], timeout_s=OPENING_PAUSE_S)

    def _client_gone(self) -> None:
        super()._client_gone()
        if self._client is not None:
            self._client.close()
            self._client = None
