"""The state of a run in a small file, which is always whole."""

from __future__ import annotations

import threading
from pathlib import Path

from firmware_host.errors import InputError
from firmware_host.station.state.outlet import Outlet
from firmware_host.system.files import write_whole

_LAST_WORDS_S = 5.0
"""So long the end of a run waits at the most for a slow disk to take the last state (s)."""


class StateFile(Outlet):
    """Written by a thread of its own, the newest state only: a slow disk never delays the run.

    The file is replaced whole, and not forced onto the disk: after a power cut it may be an old one, which its time
    tells. Raises `InputError` where it can't be written at the beginning; later it just gets stale.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self.name = str(path)
        self._newest: str | None = None
        self._closing = False
        self._changed = threading.Condition()
        try:
            self._write("{}")
        except OSError as error:
            problem = f"the state of the run cannot be written there ({error.strerror or error})"
            raise InputError(problem, "Name a file in a folder that is there", source=str(path), key="state") from error
        self._thread = threading.Thread(target=self._work, name=f"state {path.name}", daemon=True)
        self._thread.start()

    def put(self, line: str) -> None:
        with self._changed:
            self._newest = line
            self._changed.notify()

    def close(self) -> None:
        with self._changed:
            self._closing = True
            self._changed.notify()
        self._thread.join(_LAST_WORDS_S)

    def _work(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._newest is not None or self._closing)
                line, self._newest = self._newest, None
            if line is None:
                return
            try:
                self._write(line)
            except OSError:
                continue  # a reader may hold it, or the disk may be full: the next one comes within a second

    def _write(self, line: str) -> None:
        write_whole(self._path, line + "\n", durable=False)
