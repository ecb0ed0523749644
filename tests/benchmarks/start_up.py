"""How long commands take to start, beside what their libraries alone take: `python -m tests.benchmarks.start_up`.

Each process is timed by wall clock and by its processor time, one after the other in turn, so that a busy machine
slows all alike; the ratios of the medians are what counts. Byte code is written first, as an installation does. The
last lines say what a program pays that embeds the package.
"""

from __future__ import annotations

import compileall
import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[2] / "firmware_host"
BARE = "import typer\napp = typer.Typer()\nfor name in ('one', 'two'):\n    app.command(name)(lambda: None)\napp()\n"
COMMAND = (sys.executable, "-m", "firmware_host")

#: (what, its words, what it is measured against)
MEASURED = (
    ("python", (sys.executable, "-c", "pass"), None),
    ("typer app of two commands: --help", (sys.executable, "-c", BARE, "--help"), None),
    ("--help", (*COMMAND, "--help"), "typer app of two commands: --help"),
    ("--version", (*COMMAND, "--version"), "typer app of two commands: --help"),
    ("imports", (sys.executable, "-c", "import numpy, pydantic, typer, rich"), None),
    (
        "imports, and one model of one key",
        (sys.executable, "-c", "import numpy, pydantic, typer, rich\nclass A(pydantic.BaseModel):\n    b: int"),
        "imports",
    ),
    ("segments shaft-scale", (*COMMAND, "segments", "shaft-scale"), "imports"),
    ("moves shaft-scale", (*COMMAND, "moves", "shaft-scale"), "imports"),
    ("limits shaft-scale", (*COMMAND, "limits", "shaft-scale"), "imports"),
    ("schema job", (*COMMAND, "schema", "job"), "imports"),
    ("profile list", (*COMMAND, "profile", "list"), "imports"),
    ("import firmware_host", (sys.executable, "-c", "import firmware_host"), "python"),
    ("load_job", (sys.executable, "-c", "import firmware_host as fh; fh.load_job('shaft-scale')"), "imports"),
)


def once(words: tuple[str, ...]) -> tuple[float, float, float]:
    """(wall time ms, processor time ms, largest memory MB) of one process."""
    began = time.perf_counter()
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, used = os.wait4(process.pid, 0)
    if status:
        raise SystemExit(f"{' '.join(words)} ended with {status}")
    return 1e3 * (time.perf_counter() - began), 1e3 * (used.ru_utime + used.ru_stime), used.ru_maxrss / 1024


def show(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def main(rounds: int) -> None:
    """Measure everything `rounds` times and print the medians with their ratios."""
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    compileall.compile_dir(PACKAGE, quiet=1)
    found: dict[str, list[tuple[float, float, float]]] = {name: [] for name, *_ in MEASURED}
    for _ in range(rounds):
        for name, words, _against in MEASURED:
            found[name].append(once(words))
    median = {name: [statistics.median(each) for each in zip(*times, strict=True)] for name, times in found.items()}
    show(f"{'':36}{'wall ms':>9}{'cpu ms':>9}{'MB':>7}{'wall':>8}{'cpu':>8}   times")
    for name, _words, against in MEASURED:
        wall, cpu, memory = median[name]
        line = f"{name:36}{wall:9.0f}{cpu:9.0f}{memory:7.0f}"
        if against is not None:
            line += f"{wall / median[against][0]:8.2f}{cpu / median[against][1]:8.2f}   {against}"
        show(line)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 15)
