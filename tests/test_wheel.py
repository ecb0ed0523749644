"""The wheel, built as an installer builds it, holds what a user needs beside the code."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> set[str]:
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)],
        cwd=ROOT,
        check=True,
        capture_output=True,
        timeout=100,
    )
    (path,) = folder.glob("circumstep-*.whl")
    with zipfile.ZipFile(path) as archive:
        return set(archive.namelist())


def test_the_wheel_ships_every_profile_inside_the_package(wheel: set[str]) -> None:
    profiles = {path.relative_to(ROOT).as_posix() for path in (ROOT / "profiles").rglob("*.toml")}
    assert len(profiles) >= 16
    assert {name for name in wheel if name.endswith(".toml")} == {f"firmware_host/{name}" for name in profiles}


def test_the_wheel_ships_every_module_the_type_marker_and_the_licence(wheel: set[str]) -> None:
    modules = {path.relative_to(ROOT).as_posix() for path in (ROOT / "firmware_host").rglob("*.py")}
    assert modules <= wheel
    assert {"firmware_host/py.typed", "firmware_host/__init__.pyi"} <= set(wheel)
    assert any(name.endswith("licenses/LICENSE") for name in wheel)


def test_the_wheel_ships_no_tests_and_no_docs(wheel: set[str]) -> None:
    assert {name.partition("/")[0] for name in wheel if ".dist-info/" not in name} == {"firmware_host"}


def test_the_wheel_makes_the_command_and_registers_dialects_and_gates(wheel: set[str]) -> None:
    assert sum(name.endswith(".dist-info/entry_points.txt") for name in wheel) == 1
