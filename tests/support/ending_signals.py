"""The signals that ask a program to end, with what each is called: those of POSIX, and those of Windows."""

from __future__ import annotations

import signal

import pytest

from tests.support import windows

HANGUP = pytest.mark.posix("a terminal that hangs up")
BREAK = pytest.mark.windows("Ctrl-Break")
ALL = (
    pytest.param(signal.SIGINT, "Ctrl-C", id="ctrl-c"),
    pytest.param(signal.SIGTERM, "terminated", id="terminated"),
    pytest.param(signal.SIGHUP, "terminal closed", id="terminal-closed", marks=HANGUP),
    pytest.param(windows.BREAK_HERE, "Ctrl-Break, or the window was closed", id="ctrl-break", marks=BREAK),
)


def heeded() -> tuple[signal.Signals, ...]:
    """Those that the package hears of on the system that it is put on."""
    return (signal.SIGINT, signal.SIGTERM, windows.BREAK_HERE if windows.wanted() else signal.SIGHUP)
