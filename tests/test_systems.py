"""What differs between operating systems stands in one room, the linter refuses it elsewhere; types hold on three."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

from tests import verify
from tests.support.windows.names import MISSING, NO_MODULES

ROOT = Path(__file__).resolve().parent.parent
RUFF = str(Path(sysconfig.get_path("scripts")) / "ruff")
PACKAGE = ROOT / "firmware_host"
MAY_DIFFER = re.compile(r"firmware_host/(system/.*|simulator/serving/pty_server)\.py")
SOURCES = [
    path for path in sorted(PACKAGE.rglob("*.py")) if not MAY_DIFFER.fullmatch(path.relative_to(ROOT).as_posix())
]
STATION = "firmware_host/station/trial.py"
SYSTEM = "firmware_host/system/trial.py"


def refused(source: str, path: str) -> list[str]:
    """What the linter, as the project sets it, refuses of this source at this place."""
    done = subprocess.run(
        [
            RUFF,
            "check",
            "--no-cache",
            "--select",
            "TID251",
            "--output-format",
            "concise",
            "--stdin-filename",
            path,
            "-",
        ],
        input=source,
        cwd=ROOT,
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
    )
    assert done.returncode in (0, 1), done.stderr
    return re.findall(r"TID251 (.*)", done.stdout)


@pytest.mark.parametrize(
    "source",
    [
        *(f"import {name}" for name in ("signal", "select", "fcntl", "termios", "msvcrt", "tty", "pty", "subprocess")),
        "from signal import SIGHUP",
        "import select as waiting",
        "import sys\nif sys.platform == 'win32':\n    pass",
        "from sys import platform",
        "import os\nif os.name == 'nt':\n    pass",
        "import platform\nplatform.system()",
        *(
            f"import os\nos.{call}"
            for call in (
                "open('x', os.O_RDONLY)",
                "write(1, b'')",
                "fsync(1)",
                "dup2(1, 2)",
                "killpg(1, 9)",
                "kill(1, 9)",
                "pwrite(1, b'', 0)",
                "ftruncate(1, 0)",
                "pipe()",
                "set_blocking(1, False)",
                "getuid()",
            )
        ),
        "from os import fsync",
        "import os as system\nsystem.fsync(1)",
        "def late():\n    import fcntl\n    return fcntl",
    ],
    ids=lambda source: source.splitlines()[-1].strip().replace("import os", "") or source,
)
def test_what_only_some_systems_have_is_refused_outside_its_room_and_allowed_inside(source: str) -> None:
    assert refused(source, STATION) != []
    assert refused(source, "firmware_host/simulator/serving/server.py") != []
    assert refused(source, SYSTEM) == []
    assert refused(source, "firmware_host/simulator/serving/pty_server.py") == []


def test_what_every_system_has_is_allowed() -> None:
    assert refused("import os, socket, sys\nos.environ, os.getpid(), os.sep, sys.stdin, socket.socket", STATION) == []


def named_of_modules(tree: ast.AST) -> set[tuple[str, str]]:
    """Modules that are imported, each with its names that are used; "" stands for the module itself."""
    called: dict[str, str] = {}
    found: set[tuple[str, str]] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            called |= {alias.asname or alias.name.partition(".")[0]: alias.name for alias in node.names}
            found |= {(alias.name.partition(".")[0], "") for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {(node.module, alias.name) for alias in node.names} | {(node.module.partition(".")[0], "")}
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in called:
            found.add((called[node.value.id], node.attr))
    return found


def missing_on_windows(tree: ast.AST) -> list[str]:
    named = named_of_modules(tree)
    modules = [module for module, _ in named if module in NO_MODULES]
    names = [
        f"{module}.{name}" for module, name in named if name and module in MISSING and MISSING[module].fullmatch(name)
    ]
    return sorted({*modules, *names})


@pytest.mark.parametrize(
    ("source", "missing"),
    [
        ("import fcntl", ["fcntl"]),
        ("from os import fork", ["os.fork"]),
        ("import os as o\no.sched_yield()", ["os.sched_yield"]),
        ("import time\ntime.clock_gettime(1)", ["time.clock_gettime"]),
        ("import os\nos.replace('a', 'b')", []),
    ],
    ids=["module", "from", "renamed", "time", "everywhere"],
)
def test_a_name_that_windows_lacks_is_found(source: str, missing: list[str]) -> None:
    assert missing_on_windows(ast.parse(source)) == missing


def test_no_file_outside_the_room_of_systems_uses_a_name_that_windows_lacks() -> None:
    found = {path: missing_on_windows(ast.parse(path.read_text(encoding="utf-8"))) for path in SOURCES}
    assert {path.relative_to(ROOT).as_posix(): names for path, names in found.items() if names} == {}
    assert len(SOURCES) > 300


@pytest.mark.parametrize("platform", ["win32", "darwin", "linux"])
def test_types_are_checked_on_each_system_each_time(platform: str) -> None:
    commands = [command for _, command in verify.SIDE_BY_SIDE if "mypy" in command and platform in command]
    assert len(commands) == 1
    (command,) = commands
    assert command[:3] == [sys.executable, "-m", "mypy"]
    assert command[command.index("--platform") + 1] == platform
    folders = [each[each.index("--cache-dir") + 1] for _, each in verify.SIDE_BY_SIDE if "--cache-dir" in each]
    assert len(set(folders)) == len(folders) == 3
