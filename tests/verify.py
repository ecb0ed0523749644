"""Everything that has to hold before a change is handed in: lint, types, import layers, docs, tests.

Run it with the Python of an environment in which the project is installed with its `dev` extra.
"""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
import sysconfig
import time
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SCRIPTS = Path(sysconfig.get_path("scripts"))

#: Of all rooms in which something differs on Windows; all tests run there as DEVELOPERS.md says.
ON_WINDOWS = """
system station/journal station/runs station/gates/test_command.py station/gates/test_tcp.py station/test_operator.py
station/test_stop_request.py station/test_opened.py controller/port controller/settings simulator/serving
cli/test_interrupted.py cli/test_run_ends.py cli/test_front_door.py cli/test_file_commands.py test_public_functions.py
""".split()

#: The property tests draw the same examples each time here, so that a red run can be repeated; new ones elsewhere.
PYTEST = [
    sys.executable,
    "-m",
    "pytest",
    "-q",
    "--hypothesis-profile=ci",
    "-n",
    "3",
    "--dist",
    "worksteal",
    "--durations=40",
]

#: These use one core each, and none needs another's outcome: as many at once as there are cores.
SIDE_BY_SIDE: tuple[tuple[str, list[str]], ...] = (
    ("lint", [str(SCRIPTS / "ruff"), "check", "."]),
    ("format", [str(SCRIPTS / "ruff"), "format", "--check", "."]),
    # A folder each: one system's results are of no use for another.
    *(
        (
            f"types on {name}",
            [sys.executable, "-m", "mypy", "--platform", name, "--cache-dir", f".mypy_cache/{name}"],
        )
        for name in ("linux", "darwin", "win32")
    ),
    ("import layers", [sys.executable, str(SCRIPTS / "lint-imports"), "--no-cache"]),
    ("docs", [sys.executable, "-m", "mkdocs", "build", "--strict", "--quiet", "-f", "docs/mkdocs.yml"]),
)
#: These use all cores by themselves.
IN_TURN: tuple[tuple[str, list[str]], ...] = (
    ("tests", PYTEST),
    *([] if sys.platform == "win32" else [("tests, on Windows", [*PYTEST, *(f"tests/{path}" for path in ON_WINDOWS)])]),
)

#: The docs theme prints an advertisement for its successor on every build; real warnings still fail a strict build.
ENVIRONMENT = os.environ | {"NO_MKDOCS_2_WARNING": "1"}
#: What some checks have beside it.
OWN = {"tests, on Windows": {"CIRCUMSTEP_TEST_SYSTEM": "windows"}}


def main() -> int:
    """Run every check, whatever the others say; status 1 if any fails."""
    failed, took, start = [], {}, time.perf_counter()
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        beside = pool.map(partial(_check, kept=True), *zip(*SIDE_BY_SIDE, strict=True))
        for name, status, seconds in itertools.chain(beside, (_check(*each) for each in IN_TURN)):
            took[name] = seconds
            if status:
                failed.append(name)
    parts = ", ".join(f"{name} {seconds:.0f} s" for name, seconds in took.items())
    print(f"{parts}; {time.perf_counter() - start:.0f} s in all", flush=True)
    print("everything holds" if not failed else f"failed: {', '.join(failed)}", flush=True)
    return 1 if failed else 0


def _check(name: str, command: list[str], *, kept: bool = False) -> tuple[str, int, float]:
    """Run one check: its name, status and seconds. `kept`: show what it prints when it has ended, in one piece."""
    said = f"== {name}: {' '.join(command[1:])}"
    if not kept:
        print(said, flush=True)
    start = time.perf_counter()
    done = subprocess.run(
        command,
        cwd=ROOT,
        env=ENVIRONMENT | OWN.get(name, {}),
        check=False,
        stdout=subprocess.PIPE if kept else None,
        stderr=subprocess.STDOUT if kept else None,
    )
    seconds = time.perf_counter() - start
    outcome = "ok" if done.returncode == 0 else f"failed ({done.returncode})"
    shown = f"{said}\n{done.stdout.decode(errors='replace')}" if kept else ""
    print(f"{shown}== {name}: {outcome} in {seconds:.0f} s", flush=True)
    return name, done.returncode, seconds


if __name__ == "__main__":
    sys.exit(main())
