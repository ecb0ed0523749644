"""The state of a run as lines on a socket of this computer, for any number of readers."""

from __future__ import annotations

import socket
import threading
from contextlib import suppress

from firmware_host.errors import InputError
from firmware_host.station.state.outlet import Outlet
from firmware_host.system.sockets import HOST, listen, wait, wake_pair

MOST_READERS = 32
"""Readers at once; who comes then is let go."""
_MOST_AT_ONCE = 100
"""States kept until the thread comes to them."""
_MOST_UNSENT = 1 << 16
"""Bytes kept for a reader that is behind. It misses states from then on, which their numbers show."""
_LAST_WORDS_S = 1.0


class StateSocket(Outlet):
    """Tells each state to all readers, and to a new one at once the newest. What a reader says is thrown away.

    Served by a thread of its own: a reader that is slow, or stops reading, delays nobody. Raises `InputError` where the
    port is taken.
    """

    def __init__(self, port: int) -> None:
        try:
            self._listener = listen(port, callers=MOST_READERS)
        except OSError as error:
            problem = f"the state of the run cannot be told at {HOST}:{port} ({error.strerror or error})"
            raise InputError(problem, "Name a port that is free, or 0 for any", key="state") from error
        self.port: int = self._listener.getsockname()[1]
        """The port it listens at."""
        self.name = f"{HOST}:{self.port}"
        self._lock = threading.Lock()
        self._told: list[bytes] = []
        self._newest = b""
        self._closing = False
        self._readers: dict[socket.socket, bytes] = {}
        self._silent: set[socket.socket] = set()
        self._woken, self._wakes = wake_pair()
        self._thread = threading.Thread(target=self._work, name=f"state {self.port}", daemon=True)
        self._thread.start()

    def put(self, line: str) -> None:
        with self._lock:
            self._told.append(line.encode() + b"\n")
            del self._told[:-_MOST_AT_ONCE]
        self._wake()

    def close(self) -> None:
        if not self._closing:
            self._closing = True
            self._wake()
            self._thread.join(2 * _LAST_WORDS_S)

    def _wake(self) -> None:
        with suppress(OSError):  # what was not read yet wakes the thread as well
            self._wakes.send(b"w")

    # --- the thread ------------------------------------------------------------------------------------------------

    def _work(self) -> None:
        try:
            while not self._closing:
                self._serve(None)
            self._take_told()
            if any(self._readers.values()):
                self._serve(_LAST_WORDS_S)
        finally:
            for end in (*self._readers, self._listener, self._woken, self._wakes):
                end.close()

    def _serve(self, timeout_s: float | None) -> None:
        reading = [self._woken, self._listener, *(self._readers.keys() - self._silent)]
        readable, writable = wait(reading, [each for each, rest in self._readers.items() if rest], timeout_s)
        for end in readable:
            if end is self._woken:
                self._woken.recv(4096)
            elif end is self._listener:
                self._let_in()
            elif isinstance(end, socket.socket):
                self._hear(end)
        self._take_told()
        for end in writable:
            if isinstance(end, socket.socket):
                self._send(end)

    def _take_told(self) -> None:
        """Give what was told since to every reader that is not too far behind."""
        with self._lock:
            told, self._told = self._told, []
        for line in told:
            self._newest = line
            for reader, rest in self._readers.items():
                if len(rest) + len(line) <= _MOST_UNSENT:
                    self._readers[reader] = rest + line
        for reader in list(self._readers):
            self._send(reader)

    def _let_in(self) -> None:
        try:
            reader, _ = self._listener.accept()
        except OSError:  # gone again already
            return
        if len(self._readers) >= MOST_READERS:
            reader.close()
            return
        reader.setblocking(False)
        self._readers[reader] = self._newest

    def _hear(self, reader: socket.socket) -> None:
        """Throw away what a reader says. One that has said all it will may still listen."""
        try:
            said = reader.recv(4096)
        except BlockingIOError:
            return
        except OSError:
            self._drop(reader)
            return
        if not said:
            self._silent.add(reader)

    def _send(self, reader: socket.socket) -> None:
        rest = self._readers.get(reader)
        if not rest:
            return
        try:
            sent = reader.send(rest)
        except BlockingIOError:
            return
        except OSError:
            self._drop(reader)
            return
        self._readers[reader] = rest[sent:]

    def _drop(self, reader: socket.socket) -> None:
        self._silent.discard(reader)
        if self._readers.pop(reader, None) is not None:
            reader.close()
