"""The import contracts bite: a copy of the package with a forbidden import is refused."""

from __future__ import annotations

import ast
import os
import shutil
import subprocess
import sys
import sysconfig
import tomllib
from graphlib import TopologicalSorter
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


def imported_by(node: ast.AST) -> list[str]:
    """The modules that a statement may import; those it names relative to its own place are not allowed here."""
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        assert not node.level, "a relative import"
        return [node.module or "", *(f"{node.module}.{alias.name}" for alias in node.names)]
    return []


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    shutil.copytree(ROOT / "firmware_host", tmp_path / "firmware_host", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copyfile(ROOT / "pyproject.toml", tmp_path / "pyproject.toml")
    return tmp_path


def test_the_package_keeps_its_contracts(copy: Path) -> None:
    done = lint(copy)
    assert done.returncode == 0, done.stdout
    assert "0 broken" in done.stdout


@pytest.mark.some(6)
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
        ("planning/route/velocity.py", "import firmware_host.planning.limits.check", "inside planning BROKEN"),
        ("controller/dialect.py", "import firmware_host.controller.axis", "inside controller BROKEN"),
        (
            "controller/status_query/sender.py",
            "import firmware_host.controller.status_query.stop",
            "mechanism: words, sender, controller BROKEN",
        ),
        ("simulator/axis/motion.py", "import firmware_host.simulator.board_core", "inside simulator BROKEN"),
        ("station/journal/journal.py", "import firmware_host.station.run", "inside station BROKEN"),
        ("reporting/document.py", "import firmware_host.reporting.render.text", "inside reporting BROKEN"),
        ("mechanics/guard.py", "import firmware_host.mechanics.tables", "inside mechanics BROKEN"),
        ("model/base.py", "import firmware_host.model.tolerances", "inside model BROKEN"),
        ("planning/body.py", "import firmware_host.planning.load.case", "in a circle BROKEN"),
        (
            "controller/dialect.py",
            "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from firmware_host.controller import sender",
            "in a circle BROKEN",
        ),
        ("units/kinds.py", "import firmware_host.model.part.part", "floors below it BROKEN"),
        ("errors.py", "import firmware_host.units", "floors below it BROKEN"),
    ],
    ids=lambda value: value.splitlines()[-1].strip().replace("import firmware_host.", "").replace(" BROKEN", ""),
)
def test_a_forbidden_import_breaks_its_contract(copy: Path, module: str, line: str, contract: str) -> None:
    path = copy / "firmware_host" / module
    path.write_text(f"{path.read_text(encoding='utf-8')}\n{line}\n", encoding="utf-8")
    done = lint(copy)
    assert done.returncode == 1
    assert contract in done.stdout


def test_no_file_of_the_package_imports_itself_by_way_of_others_type_checking_included() -> None:
    imports = {}
    for path in sorted((ROOT / "firmware_host").rglob("*.py")):
        if path.stem == "__init__":
            continue
        module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        imports[module] = {
            name for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))) for name in imported_by(node)
        }
    order = TopologicalSorter({module: names & imports.keys() for module, names in imports.items()})
    assert len(tuple(order.static_order())) == len(imports) > 200  # raises CycleError with the files of a circle


def test_every_form_of_an_import_counts() -> None:
    forms = ("import a.b", "import a.b as c", "from a import b", "from a.b import c")
    assert all("a.b" in imported_by(ast.parse(form).body[0]) for form in forms)
    assert imported_by(ast.parse("a.b()").body[0]) == []


def test_every_contract_of_floors_names_every_file_and_room_of_its_room() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    contracts = project["tool"]["importlinter"]["contracts"]
    floors = [contract for contract in contracts if contract["type"] == "layers"]
    assert [contract["name"] for contract in floors if not contract.get("exhaustive")] == []
    assert len(floors) >= 8
