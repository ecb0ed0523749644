"""`signal` as on Windows, and `os.kill`.

- There are SIGABRT, SIGFPE, SIGILL, SIGINT, SIGSEGV, SIGTERM and SIGBREAK; any other number is a `ValueError`
  (Python, `signal.signal`, "On Windows ...").
- `os.kill` sends CTRL_C_EVENT and CTRL_BREAK_EVENT to the processes of a console that were started as a group of their
  own; with every other number the process is ended with it as its status (Python, `os.kill`). A group of its own hears
  no Ctrl-C (Microsoft, "GenerateConsoleCtrlEvent" and "CreateProcess", CREATE_NEW_PROCESS_GROUP).
- Ctrl-Break ends a process that has no handler for it, as Ctrl-C does (Microsoft, "CTRL+C and CTRL+BREAK signals").

Ctrl-Break travels here as `BREAK_HERE`.
"""

from __future__ import annotations

import enum
import errno
import os
import signal as real
from collections.abc import Callable, Iterable
from types import FrameType, ModuleType
from typing import Any

from tests.support.windows import BREAK_HERE
from tests.support.windows.stand_in import StandIn, win_error

Handler = Callable[[int, FrameType | None], Any] | int | None


class Signals(enum.IntEnum):
    """The numbers of the C runtime's signal.h, and the two console events."""

    CTRL_C_EVENT = 0
    CTRL_BREAK_EVENT = 1
    SIGINT = 2
    SIGILL = 4
    SIGFPE = 8
    SIGSEGV = 11
    SIGTERM = 15
    SIGBREAK = 21
    SIGABRT = 22


_HERE = {
    Signals.SIGINT: real.SIGINT,
    Signals.SIGILL: real.SIGILL,
    Signals.SIGFPE: real.SIGFPE,
    Signals.SIGSEGV: real.SIGSEGV,
    Signals.SIGTERM: real.SIGTERM,
    Signals.SIGBREAK: BREAK_HERE,
    Signals.SIGABRT: real.SIGABRT,
}
_wrapped: dict[Any, Any] = {}


def _number_here(number: int) -> real.Signals:
    for there, here in _HERE.items():
        if number == there:
            return here
    raise ValueError("invalid signal value")


def _unwrapped(handler: Any) -> Handler:
    return _wrapped.get(handler, handler)  # type: ignore[no-any-return]


def signal(number: int, handler: Any) -> Handler:
    here = _number_here(number)
    if not callable(handler) or here == number:
        return _unwrapped(real.signal(here, handler))

    def with_its_number(_: int, frame: FrameType | None) -> Any:
        return handler(int(number), frame)

    before = real.signal(here, with_its_number)
    _wrapped[with_its_number] = handler
    return _unwrapped(before)


def getsignal(number: int) -> Handler:
    return _unwrapped(real.getsignal(_number_here(number)))


def raise_signal(number: int) -> None:
    real.raise_signal(_number_here(number))


def valid_signals() -> set[Signals]:
    return set(_HERE)


def strsignal(number: int) -> str | None:
    names = {"SIGINT": "Interrupt", "SIGTERM": "Terminated", "SIGBREAK": "Break", "SIGABRT": "Aborted"}
    return names.get(Signals(number).name)


def kill(process: int, number: int) -> None:
    """`os.kill`."""
    if number not in (Signals.CTRL_C_EVENT, Signals.CTRL_BREAK_EVENT):
        from tests.support.windows import processes

        processes.terminate_process(process, int(number))
    elif process and os.getpgid(process) != process:
        raise win_error(OSError, errno.EINVAL, 87, "The parameter is incorrect")
    elif number == Signals.CTRL_BREAK_EVENT:
        os.killpg(process or os.getpgrp(), BREAK_HERE)
    elif not process:
        os.killpg(os.getpgrp(), real.SIGINT)


def _names(members: Iterable[Signals]) -> dict[str, Signals]:
    return {member.name: member for member in members}


def stand_in() -> ModuleType:
    return StandIn(
        real,
        **_names(Signals),
        Signals=Signals,
        NSIG=23,
        signal=signal,
        getsignal=getsignal,
        raise_signal=raise_signal,
        valid_signals=valid_signals,
        strsignal=strsignal,
    )
