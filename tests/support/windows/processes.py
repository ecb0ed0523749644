"""`subprocess` as on Windows.

- A command is one line: a list is joined by the C runtime's rules, a text is taken as it stands, and the program takes
  it apart by the same rules, in which a backslash is a plain character but before a quotation mark (Microsoft, "Parsing
  C command-line arguments"; Python, `subprocess.list2cmdline`).
- A script is no program: WinError 193, whatever its first line names (Microsoft, "CreateProcess": executable modules).
- `start_new_session`, `process_group`, `restore_signals` and `umask` are taken and do nothing; `preexec_fn` and
  `pass_fds` are refused (Python's `subprocess.py`, `Popen.__init__`, and `_execute_child` of Windows).
- `creationflags` with CREATE_NEW_PROCESS_GROUP starts a group of its own, for Ctrl-Break only.
- `terminate` and `kill` are one: TerminateProcess with status 1, which no program can hear (Python, `Popen.terminate`).
- There are no negative statuses.
"""

from __future__ import annotations

import errno
import os
import shutil
import signal
import subprocess as real
import threading
import types
from collections.abc import Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

from tests.support.windows import BREAK_HERE
from tests.support.windows.signals import Signals
from tests.support.windows.stand_in import StandIn, win_error

CREATE_NEW_PROCESS_GROUP = 0x200
FLAGS = {
    "CREATE_NEW_CONSOLE": 0x10,
    "CREATE_NEW_PROCESS_GROUP": CREATE_NEW_PROCESS_GROUP,
    "CREATE_NO_WINDOW": 0x8000000,
    "DETACHED_PROCESS": 0x8,
    "CREATE_BREAKAWAY_FROM_JOB": 0x1000000,
    "CREATE_DEFAULT_ERROR_MODE": 0x4000000,
    "ABOVE_NORMAL_PRIORITY_CLASS": 0x8000,
    "BELOW_NORMAL_PRIORITY_CLASS": 0x4000,
    "HIGH_PRIORITY_CLASS": 0x80,
    "IDLE_PRIORITY_CLASS": 0x40,
    "NORMAL_PRIORITY_CLASS": 0x20,
    "REALTIME_PRIORITY_CLASS": 0x100,
    "STARTF_USESHOWWINDOW": 1,
    "STARTF_USESTDHANDLES": 0x100,
    "STARTF_FORCEONFEEDBACK": 0x40,
    "STARTF_FORCEOFFFEEDBACK": 0x80,
    "SW_HIDE": 0,
    "STD_INPUT_HANDLE": 0xFFFFFFF6,
    "STD_OUTPUT_HANDLE": 0xFFFFFFF5,
    "STD_ERROR_HANDLE": 0xFFFFFFF4,
}
#: What a process ends with that was ended by Ctrl-C or Ctrl-Break, by a wrong address, and by the C runtime's abort
#: (Microsoft, NTSTATUS values; "abort").
STATUS_CONTROL_C_EXIT = 0xC000013A
_STATUS = {
    -signal.SIGINT: STATUS_CONTROL_C_EXIT,
    -BREAK_HERE: STATUS_CONTROL_C_EXIT,
    -signal.SIGSEGV: 0xC0000005,
    -signal.SIGABRT: 3,
}
_Popen = real.Popen
#: What a process was ended with by TerminateProcess; a process of this system can't be ended with a status.
_ended_with: dict[int, int] = {}
_lock = threading.Lock()


def arguments_of(line: str) -> list[str]:
    """What the C runtime makes of a command line."""
    arguments: list[str] = []
    at, end = 0, len(line)
    while True:
        while at < end and line[at] in " \t":
            at += 1
        if at == end:
            return arguments
        argument, quoted = "", False
        while at < end and (quoted or line[at] not in " \t"):
            slashes = 0
            while at < end and line[at] == "\\":
                slashes, at = slashes + 1, at + 1
            if at == end or line[at] != '"':
                argument += "\\" * slashes
                if at < end and slashes == 0:
                    argument, at = argument + line[at], at + 1
                continue
            argument += "\\" * (slashes // 2)
            if slashes % 2:
                argument += '"'
            elif quoted and at + 1 < end and line[at + 1] == '"':
                argument, at = argument + '"', at + 1
            else:
                quoted = not quoted
            at += 1
        arguments.append(argument)


def terminate_process(process: int, status: int) -> None:
    """TerminateProcess: nobody is asked."""
    with _lock:
        _ended_with.setdefault(process, status)
    try:
        os.kill(process, signal.SIGKILL)
    except ProcessLookupError:
        raise win_error(OSError, errno.EINVAL, 87, "The parameter is incorrect") from None


def _require_program(name: str) -> None:
    path = shutil.which(name)
    if path is not None:
        with Path(path).open("rb") as file:
            if file.read(2) == b"#!":
                raise win_error(OSError, errno.ENOEXEC, 193, "%1 is not a valid Win32 application", name)


class STARTUPINFO:
    """How a window begins; taken, and nothing comes of it."""

    def __init__(self, **values: Any) -> None:
        self.dwFlags = values.get("dwFlags", 0)
        self.wShowWindow = values.get("wShowWindow", 0)


class Popen(_Popen):
    """A process started by CreateProcess."""

    def __init__(
        self,
        args: str | os.PathLike[str] | Sequence[Any],
        *,
        startupinfo: STARTUPINFO | None = None,
        creationflags: int = 0,
        preexec_fn: Any = None,
        pass_fds: Sequence[int] = (),
        shell: bool = False,
        start_new_session: bool = False,
        process_group: int | None = None,
        umask: int = -1,
        restore_signals: bool = True,
        **options: Any,
    ) -> None:
        if preexec_fn is not None:
            raise ValueError("preexec_fn is not supported on Windows platforms")
        if pass_fds:
            raise ValueError("pass_fds not supported on Windows.")
        if shell:
            raise NotImplementedError("the command shell of Windows is not imitated")
        if not isinstance(args, str):
            args = real.list2cmdline([args] if isinstance(args, os.PathLike) else args)
        if options.get("text") or options.get("universal_newlines"):
            options.setdefault("encoding", "cp1252")
        group = {"process_group": 0} if creationflags & CREATE_NEW_PROCESS_GROUP else {}
        arguments = arguments_of(args)
        _require_program(arguments[0] if arguments else "")
        super().__init__(arguments, **group, **options)

    def send_signal(self, sig: int) -> None:
        if self.poll() is not None:
            return
        if sig == Signals.SIGTERM:
            self.terminate()
        elif sig in (Signals.CTRL_C_EVENT, Signals.CTRL_BREAK_EVENT):
            from tests.support.windows import signals

            signals.kill(self.pid, sig)
        else:
            raise ValueError(f"Unsupported signal: {sig}")

    def terminate(self) -> None:
        if self.poll() is None:
            terminate_process(self.pid, 1)

    kill = terminate

    def _handle_exitstatus(self, sts: int, *more: Any) -> None:
        super()._handle_exitstatus(sts, *more)  # type: ignore[misc]
        if self.returncode is not None and self.returncode < 0:
            with _lock:
                told = _ended_with.pop(self.pid, None)
            self.returncode = _STATUS.get(self.returncode, -self.returncode) if told is None else told


def _with_popen(name: str) -> Any:
    function = getattr(real, name)
    made = types.FunctionType(
        function.__code__, vars(real) | {"Popen": Popen}, name, function.__defaults__, function.__closure__
    )
    made.__kwdefaults__ = function.__kwdefaults__
    return made


class _Subprocess(StandIn):
    """A test that puts another `Popen` in the place of the real one for a while puts it here too."""

    @property
    def Popen(self) -> Any:  # noqa: N802  the library's own name
        return Popen if real.Popen is _Popen else real.Popen


def stand_in() -> ModuleType:
    helpers = {name: _with_popen(name) for name in ("run", "call", "check_call", "check_output")}
    helpers["check_call"].__globals__["call"] = helpers["call"]
    helpers["check_output"].__globals__["run"] = helpers["run"]
    return _Subprocess(real, **FLAGS, **helpers, STARTUPINFO=STARTUPINFO)
