"""One owner per port: a lock between processes that names its holder."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import platformdirs
from filelock import FileLock, Timeout

from firmware_host.errors import PortBusyError, PortUnavailableError

_REMEDY = "end that process, or wait for it"


class PortLock:
    """A lock keyed by what the port is, not by how it is spelt: links to one device share one lock.

    The lock file itself is empty, because whoever tries it may truncate it; beside it stands a file with the process
    id of the holder. The operating system gives the lock back when its holder dies.
    """

    def __init__(self, url: str, folder: Path | None = None) -> None:
        self._url = url
        base = folder or platformdirs.user_state_path("circumstep", appauthor=False) / "locks"
        name = hashlib.sha256(_identity(url).encode()).hexdigest()[:24]
        self._lock_file = base / f"port-{name}.lock"
        self._pid_file = base / f"port-{name}.pid"
        self._lock = FileLock(self._lock_file, timeout=0, thread_local=False)

    def acquire(self) -> None:
        """Take the lock. PortBusyError names the holder's process; PortUnavailableError if it can't be kept."""
        try:
            self._lock_file.parent.mkdir(parents=True, exist_ok=True)
            self._lock.acquire()
            self._pid_file.write_text(f"{os.getpid()}\n", encoding="ascii")
        except Timeout as error:
            raise PortBusyError(self._url, _REMEDY, self._holder()) from error
        except OSError as error:
            self._lock.release()
            raise PortUnavailableError(self._url, f"its lock cannot be taken: {error}") from error

    def release(self) -> None:
        """Give the lock back. A second call does nothing."""
        if self._lock.is_locked:
            self._pid_file.unlink(missing_ok=True)
            self._lock.release()

    def _holder(self) -> int | None:
        try:
            return int(self._pid_file.read_text(encoding="ascii"))
        except (OSError, ValueError):
            return None  # the holder is about to write it, or to go


def _identity(url: str) -> str:
    return url.lower() if "://" in url else str(Path(url).resolve())
