"""A thread that owns a simulated device and joins it to a line that a client can open like any port."""

from __future__ import annotations

import contextlib
import socket
import threading
from abc import ABC, abstractmethod
from collections.abc import Iterator
from types import TracebackType
from typing import Self

from firmware_host.clock import Clock
from firmware_host.simulator.device import SimulatedDevice
from firmware_host.system.sockets import Waitable, wait, wake_pair

MOST_UNREAD_BYTES = 65536
"""What the line keeps for a client that doesn't read; the device's later bytes are lost."""


class DeviceServer(ABC):
    """Serves one device. `clock` must be one that runs by itself: real or scaled, not virtual.

    `start` and `stop` may be called any number of times. To the client `stop` is a pulled cable; the device stays
    powered, its motion continues, and `start` plugs it in again.
    """

    def __init__(self, device: SimulatedDevice, clock: Clock) -> None:
        self._device = device
        self._clock = clock
        self._lock = threading.RLock()
        self._thread: threading.Thread | None = None
        self._wakes: tuple[socket.socket, socket.socket] | None = None
        self._stopping = threading.Event()
        self._unsent = b""

    @property
    @abstractmethod
    def url(self) -> str:
        """What a client opens; LinkError before the first `start`."""

    @abstractmethod
    def _open(self) -> None:
        """Make the line ready for a client."""

    @abstractmethod
    def _close(self) -> None:
        """Take the line away; a client sees it vanish."""

    @abstractmethod
    def _watched(self) -> list[Waitable]:
        """What may have something for the device."""

    @abstractmethod
    def _line_out(self) -> Waitable | None:
        """Where the client listens, None while nobody is there."""

    @abstractmethod
    def _take(self) -> bytes:
        """Read what has come on what is watched; empty if it was no data."""

    @abstractmethod
    def _write(self, data: bytes) -> int:
        """Write to the client without waiting; returns how many bytes were taken. Raises `OSError`."""

    # --- life -----------------------------------------------------------------------------------------------

    def start(self) -> Self:
        """Open the line and start serving; nothing happens if it is being served already."""
        if self._thread is None:
            self._open()
            self._wakes = wake_pair()
            self._stopping.clear()
            self._fetch()
            if self._line_out() is not None and self._unsent:
                self._send()  # what it says at power-up is there before anybody can open the line
            self._thread = threading.Thread(target=self._serve, name=f"simulator {self.url}", daemon=True)
            self._thread.start()
        return self

    def stop(self) -> None:
        """End the thread and take the line away; nothing happens if it isn't being served."""
        thread, self._thread = self._thread, None
        if thread is None:
            return
        self._stopping.set()
        self._wake()
        thread.join()
        self._close()
        with self._lock:
            wakes, self._wakes = self._wakes, None
            for end in wakes or ():
                end.close()
        self._unsent = b""

    def __enter__(self) -> Self:
        return self.start()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()

    # --- a look at the device -------------------------------------------------------------------------------

    @contextlib.contextmanager
    def inspect(self) -> Iterator[tuple[SimulatedDevice, float]]:
        """The device and the present instant (s), nobody else touching the device meanwhile."""
        with self._lock:
            yield self._device, self._clock.monotonic()
            if self._thread is not None:
                self._wake()

    def steps_at(self, axis: str) -> int:
        """True steps of a motor now (see `SimulatedDevice.steps_at`)."""
        with self.inspect() as (device, now_s):
            return device.steps_at(axis, now_s)

    def moving(self) -> bool:
        """Whether a motor is turning now."""
        with self.inspect() as (device, now_s):
            return device.moving_at(now_s)

    def released(self) -> bool:
        """Whether the motors are without current now."""
        with self.inspect() as (device, now_s):
            return device.released_at(now_s)

    # --- the thread -----------------------------------------------------------------------------------------

    def _wake(self) -> None:
        if self._wakes is not None:
            with contextlib.suppress(BlockingIOError):  # what was not read yet wakes the thread as well
                self._wakes[1].send(b"w")

    def _serve(self) -> None:
        if self._wakes is None:
            return
        woken, _ = self._wakes
        while not self._stopping.is_set():
            timeout_s = self._fetch()
            line_out = self._line_out()
            writing = [line_out] if self._unsent and line_out is not None else []
            readable, writable = wait([woken, *self._watched()], writing, timeout_s)
            for end in readable:
                if end is woken:
                    woken.recv(4096)
                elif data := self._take():
                    self._hand_over(data)
            if writable and self._line_out() == line_out:
                self._send()

    def _fetch(self) -> float | None:
        """Take what the device has said; returns how many real seconds it will now be silent, None for ever."""
        with self._lock:
            now_s = self._clock.monotonic()
            said = self._device.transmit(now_s)
            event_s = self._device.next_event_s()
        self._unsent = (self._unsent + said)[:MOST_UNREAD_BYTES]
        self._note_said(said)
        return None if event_s is None else max(0.0, self._clock.real_seconds(event_s - now_s))

    def _hand_over(self, data: bytes) -> None:
        with self._lock:
            self._device.receive(data, self._clock.monotonic())

    def _client_opened(self) -> None:
        with self._lock:
            now_s = self._clock.monotonic()
            self._unsent += self._device.transmit(now_s)
            if self._device.client_opened(now_s):
                self._unsent = b""

    def _send(self) -> None:
        try:
            sent = self._write(self._unsent)
        except BlockingIOError:
            return
        except (BrokenPipeError, ConnectionError):
            self._client_gone()
            return
        self._unsent = self._unsent[sent:]

    def _client_gone(self) -> None:
        """What to do when writing finds nobody there."""
        self._unsent = b""

    def _note_said(self, said: bytes) -> None:
        """Told of everything the device says, before it is sent."""
        return
