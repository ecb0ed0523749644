"""One owner per port: a lock between processes that names its holder."""

from __future__ import annotations

import contextlib
import hashlib
import os
from pathlib import Path

from filelock import FileLock, Timeout

from firmware_host.errors import InputError, PortBusyError, PortUnavailableError
from firmware_host.folders import kept_folder
from firmware_host.system.files import RecordFile, read_regular
from firmware_host.system.ports import device_key

_REMEDY = "that is another circumstep: wait until it has ended, or stop it where it runs, with Ctrl-C"
_LONGEST_PID = 32


class PortLock:
    """A lock keyed by what the port is, not by how it is spelt: links to one device share one lock.

    The lock file itself is empty, because whoever tries it may truncate it; beside it stands a file with the process
    id of the holder. The operating system gives the lock back when its holder dies.
    """

    def __init__(self, url: str, folder: Path | None = None) -> None:
        self._url = url
        base = folder or kept_folder("locks")
        name = hashlib.sha256(device_key(url).encode()).hexdigest()[:24]
        self._lock_file = base / f"port-{name}.lock"
        self._pid_file = base / f"port-{name}.pid"
        self._lock = FileLock(self._lock_file, timeout=0, thread_local=False)

    def acquire(self) -> None:
        """Take the lock. PortBusyError names the holder's process; PortUnavailableError if it can't be kept."""
        try:
            self._lock_file.parent.mkdir(parents=True, exist_ok=True)
            self._lock.acquire()
            with RecordFile(self._pid_file) as file:
                file.truncate(0)
                file.append(f"{os.getpid()}\n".encode())
        except Timeout as error:
            raise PortBusyError(self._url, _REMEDY, self._holder()) from error
        except OSError as error:
            self._lock.release()
            raise PortUnavailableError(self._url, f"its lock cannot be taken: {error}") from error

    def release(self) -> None:
        """Give the lock back. A second call does nothing."""
        if self._lock.is_locked:
            with contextlib.suppress(OSError):  # somebody reads it now: the next holder writes over it
                self._pid_file.unlink(missing_ok=True)
            self._lock.release()

    def _holder(self) -> int | None:
        try:
            return int(read_regular(self._pid_file, _LONGEST_PID, links=False))
        except (InputError, ValueError):
            return None  # the holder is about to write it, or to go
