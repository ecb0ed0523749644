"""Commands in processes of their own, each forked from one that has the program loaded: how they end, and at what cost.

Run as a program it runs the cases of some seeds and prints a line of JSON for each:
`python -m tests.fuzz.measured FIRST COUNT FOLDER`.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import sys
import time
import traceback
from dataclasses import asdict, dataclass
from importlib import import_module
from pathlib import Path

from firmware_host.cli import main
from firmware_host.cli.commands import COMMANDS
from tests.fuzz.hostile import Case, make

MOST_MEGABYTES = 400
LONGEST_CPU_S = 2.0
_HANGS_S = 60.0


@dataclass(frozen=True)
class Outcome:
    """How a case ended (`status` is negative for a signal) and what it took."""

    seed: int
    name: str
    arguments: tuple[str, ...]
    file: str
    must_fail: bool
    may_call: bool
    status: int
    cpu_s: float
    megabytes: int
    out: str
    err: str


def measure(seed: int, folder: Path) -> Outcome:
    """Run the case of a seed in a process of its own."""
    case = make(seed, folder)
    texts = [folder / "stdout.txt", folder / "stderr.txt"]
    child = os.fork()
    if child == 0:
        _command(case, folder, texts)
    ended, usage = _waited(child)
    out, err = (text.read_text(encoding="utf-8", errors="surrogateescape")[-20_000:] for text in texts)
    cpu_s, megabytes = usage.ru_utime + usage.ru_stime, usage.ru_maxrss // 1024
    status = os.waitstatus_to_exitcode(ended)
    told = (case.name, case.arguments, str(case.file), case.must_fail, case.may_call)
    return Outcome(seed, *told, status, cpu_s, megabytes, out, err)


def _command(case: Case, folder: Path, texts: list[Path]) -> None:
    """Never returns."""
    status = 99
    try:
        resource.setrlimit(resource.RLIMIT_CPU, (20, 20))
        resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))
        os.environ |= {"HOME": str(folder), "XDG_STATE_HOME": str(folder), "XDG_CONFIG_HOME": str(folder)}
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        for number, text in enumerate(texts, 1):
            os.dup2(os.open(text, os.O_WRONLY | os.O_CREAT), number)
        sys.stdin, sys.stdout, sys.stderr = (os.fdopen(n, mode, encoding="utf-8") for n, mode in enumerate("rww"))
        status = main.run(list(case.arguments))
        sys.stdout.flush()
        sys.stderr.flush()
    except BaseException:  # noqa: BLE001  whatever it is, it is what came of the case
        os.write(2, traceback.format_exc().encode())
    finally:
        os._exit(status)


def _waited(child: int) -> tuple[int, resource.struct_rusage]:
    """How it ended; one that hangs is killed."""
    until = time.monotonic() + _HANGS_S
    while time.monotonic() < until:
        ended, status, usage = os.wait4(child, os.WNOHANG)
        if ended:
            return status, usage
        time.sleep(0.002)
    os.kill(child, signal.SIGKILL)
    _, status, usage = os.wait4(child, 0)
    return status, usage


def warm_up() -> None:
    """Load what the commands load, so that the processes that are forked have it."""
    for command in COMMANDS:
        import_module(f"firmware_host.cli.{command.file}")
    import_module("firmware_host.planning.plan")
    import_module("numpy")


if __name__ == "__main__":
    first, count, where = int(sys.argv[1]), int(sys.argv[2]), Path(sys.argv[3])
    warm_up()
    for number in range(first, first + count):
        sys.stdout.write(json.dumps(asdict(measure(number, where / str(number)))) + "\n")
        sys.stdout.flush()
