"""Processes that a test has started and not ended, told by a mark in their environment, though their parent be gone."""

from __future__ import annotations

import os

import psutil

#: The variable that carries the mark to whatever is started.
MARK = "CIRCUMSTEP_TESTS_STARTED_BY"
PATIENCE_S = 5.0


def _carries(process: psutil.Process, mark: str) -> bool:
    try:
        return process.environ().get(MARK) == mark
    except (psutil.Error, OSError):
        return False


def _told(process: psutil.Process) -> str:
    try:
        return f"{process.pid}: {' '.join(process.cmdline())}"
    except psutil.Error:
        return str(process.pid)


def left_running(mark: str, patience_s: float = PATIENCE_S) -> list[str]:
    """What still runs with the mark, a process that is just ending given its time."""
    found = [process for process in psutil.process_iter() if process.pid != os.getpid() and _carries(process, mark)]
    _, alive = psutil.wait_procs(found, timeout=patience_s)
    return [_told(process) for process in alive]
