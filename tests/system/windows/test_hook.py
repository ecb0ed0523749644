"""What a module of the package sees when it is put on Windows."""

from __future__ import annotations

import importlib
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from tests.support.windows import SWITCH, hook

ROOT = Path(__file__).resolve().parents[3]


def executed(source: str) -> ModuleType:
    module = ModuleType("firmware_host.trial")
    vars(module)["__builtins__"] = hook.built_in()
    exec(source, vars(module))
    return module


def test_a_module_is_told_that_it_runs_on_windows_and_gets_the_stand_ins() -> None:
    module = executed("import sys, os\nfrom signal import SIGBREAK\nsystem = sys.platform\nhas = hasattr(os, 'fork')")
    assert (module.system, module.has, module.SIGBREAK) == ("win32", False, 21)
    assert sys.platform != "win32"
    assert hasattr(os, "fork")


def test_what_a_function_imports_later_is_a_stand_in_too() -> None:
    module = executed("def line_end():\n    import os\n    return os.linesep")
    assert module.line_end() == "\r\n"


def test_other_libraries_are_the_real_ones() -> None:
    module = executed("import json, os.path\nfrom os.path import join")
    assert module.json is importlib.import_module("json")
    assert module.join is os.path.join


def test_a_stream_that_is_replaced_there_is_replaced_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", sys.stdout)
    executed("import sys\nsys.stdout = None")
    assert sys.stdout is None


def test_what_a_test_replaces_in_the_real_module_is_replaced_there(monkeypatch: pytest.MonkeyPatch) -> None:
    module = executed("import os\nimport subprocess")
    monkeypatch.setattr(os, "getpid", lambda: 7)
    monkeypatch.setattr(subprocess, "Popen", len)
    assert module.os.getpid() == 7
    assert module.subprocess.Popen is len


def test_the_room_of_systems_can_be_loaded_on_windows_beside_the_real_one() -> None:
    here = importlib.import_module("firmware_host.system.files")
    there = hook.SystemRoom().module("files")
    assert there is not here
    assert there._here.__name__ == "firmware_host.system.windows.files"
    assert there._here.os is hook.module("os")


def test_the_package_cannot_be_put_there_when_it_is_imported_already() -> None:
    code = "import firmware_host; from tests.support import windows; windows.install()"
    environment = {name: value for name, value in os.environ.items() if name not in (SWITCH, "PYTHONPATH")}
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=environment, capture_output=True, text=True)
    assert "imported before it could be put on Windows: firmware_host" in done.stderr


def test_a_process_that_is_started_is_put_there_too() -> None:
    code = "import sys; from firmware_host.system import files; print(sys.platform, files._here.__name__, end='\\n')"
    environment = os.environ | {SWITCH: "windows", "PYTHONPATH": os.pathsep.join([str(hook.SITE), str(ROOT)])}
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, check=True)
    assert done.stdout == f"{sys.platform} firmware_host.system.windows.files\r\n".encode()
