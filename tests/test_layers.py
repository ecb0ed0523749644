"""The import contracts bite: a copy of the package with a forbidden import is refused."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
LINTER = Path(sysconfig.get_path("scripts")) / "lint-imports"


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, str(LINTER), "--no-cache"],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": str(folder), "NO_COLOR": "1", "COLUMNS": "200"},
        capture_output=True,
        text=True,
        timeout=100,
    )


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    shutil.copytree(ROOT / "firmware_host", tmp_path / "firmware_host", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copyfile(ROOT / "pyproject.toml", tmp_path / "pyproject.toml")
    return tmp_path


def test_the_package_keeps_its_contracts(copy: Path) -> None:
    done = lint(copy)
    assert done.returncode == 0, done.stdout
    assert "0 broken" in done.stdout


@pytest.mark.parametrize(
    ("module", "line", "contract"),
    [
        ("planning/steps.py", "import firmware_host.controller.port.port", "floors below it BROKEN"),
        ("planning/steps.py", "import firmware_host.station.run", "floors below it BROKEN"),
        ("controller/port/port.py", "import firmware_host.simulator.device", "floors below it BROKEN"),
        ("simulator/axis/motion.py", "import firmware_host.controller.reply", "floors below it BROKEN"),
        ("mechanics/optics/beam.py", "import firmware_host.units", "not descriptions BROKEN"),
        ("mechanics/optics/beam.py", "import firmware_host.model.part.part", "not descriptions BROKEN"),
        ("station/run.py", "import firmware_host.simulator.serving.serve", "joins the simulator to a run BROKEN"),
        ("units.py", "import firmware_host.model.part.part", "floors below it BROKEN"),
        ("errors.py", "import firmware_host.units", "floors below it BROKEN"),
    ],
    ids=lambda value: value.replace("import firmware_host.", "").replace(" BROKEN", ""),
)
def test_a_forbidden_import_breaks_its_contract(copy: Path, module: str, line: str, contract: str) -> None:
    path = copy / "firmware_host" / module
    path.write_text(f"{path.read_text(encoding='utf-8')}\n{line}\n", encoding="utf-8")
    done = lint(copy)
    assert done.returncode == 1
    assert contract in done.stdout
