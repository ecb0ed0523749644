"""The workflow for public CI runs README's two commands on the three systems; README has a twin of each for Windows."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
import yaml

ROOT = Path(__file__).resolve().parent.parent
WORKFLOWS = sorted((ROOT / ".github" / "workflows").glob("*.yml"))
README = (ROOT / "README.md").read_text(encoding="utf-8")
POSIX = [line for line in README.splitlines() if line.startswith("python3 -m venv ")]


def loaded(path: Path) -> dict[str, Any]:
    made: dict[str, Any] = yaml.safe_load(path.read_text(encoding="utf-8"))
    return made


def in_powershell(command: str) -> list[str]:
    """A command line of README as it is typed in PowerShell, which has no `&&` on every Windows."""
    parts = command.replace("python3 ", "python ").split(" && ")
    return [re.sub(r"^(\.venv\S*)/bin/", r"\1/Scripts/", part).replace("/", "\\") for part in parts]


def test_there_is_a_workflow_and_readme_has_its_two_commands() -> None:
    assert WORKFLOWS != []
    assert len(POSIX) == 2


def test_readme_has_a_twin_of_each_command_for_windows() -> None:
    blocks = re.findall(r"^```powershell\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert [block.splitlines() for block in blocks] == [in_powershell(command) for command in POSIX]


def test_the_commands_of_the_workflow_are_those_of_readme_on_each_system() -> None:
    (job,) = loaded(ROOT / ".github" / "workflows" / "check.yml")["jobs"].values()
    kinds = {system.partition("-")[0] for system in job["strategy"]["matrix"]["system"]}
    assert kinds == {"ubuntu", "windows", "macos"}
    assert job["runs-on"] == "${{ matrix.system }}"
    runs = [(step.get("if"), step.get("shell"), step["run"].splitlines()) for step in job["steps"] if "run" in step]
    assert [lines for condition, shell, lines in runs if (condition, shell) == ("runner.os != 'Windows'", None)] == [
        [command] for command in POSIX
    ]
    assert [lines for condition, shell, lines in runs if (condition, shell) == ("runner.os == 'Windows'", "pwsh")] == [
        in_powershell(command) for command in POSIX
    ]
    assert len(runs) == 4


@pytest.mark.parametrize("path", WORKFLOWS, ids=lambda path: path.name)
def test_every_action_is_pinned_by_its_whole_version_and_nothing_may_be_written(path: Path) -> None:
    workflow = loaded(path)
    used = [step["uses"] for job in workflow["jobs"].values() for step in job["steps"] if "uses" in step]
    assert used
    assert [name for name in used if not re.fullmatch(r"actions/[\w-]+@v\d+\.\d+\.\d+", name)] == []
    assert workflow["permissions"] == {"contents": "read"}
    assert all(job["timeout-minutes"] <= 60 for job in workflow["jobs"].values())


@pytest.mark.skipif(shutil.which("actionlint") is None, reason="needs actionlint")
@pytest.mark.parametrize("path", WORKFLOWS, ids=lambda path: path.name)
def test_actionlint_finds_nothing(path: Path) -> None:
    done = subprocess.run(["actionlint", str(path)], capture_output=True, text=True, timeout=60)
    assert (done.returncode, done.stdout) == (0, "")
