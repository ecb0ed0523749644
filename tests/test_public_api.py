"""What `import firmware_host` gives: every name, quickly, and nothing that is not promised."""

from __future__ import annotations

import ast
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

import firmware_host
from tests.cli.command import PATIENCE_S, environment

HOMES = {
    alias.name: node.module
    for node in ast.walk(ast.parse(Path(firmware_host.__file__ or "").read_text(encoding="utf-8")))
    if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("firmware_host.")
    for alias in node.names
}


@pytest.mark.parametrize("name", firmware_host.__all__)
def test_a_public_name_is_what_the_type_checker_is_told(name: str) -> None:
    home = HOMES[name]
    assert home is not None
    assert getattr(firmware_host, name) is getattr(import_module(home), name)


def test_all_is_sorted_and_holds_every_name_that_is_imported() -> None:
    assert list(firmware_host.__all__) == sorted(set(firmware_host.__all__))
    assert set(firmware_host.__all__) == set(HOMES) <= set(dir(firmware_host))


def test_a_name_that_is_not_there_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="module 'firmware_host' has no attribute 'load_jobs'"):
        firmware_host.load_jobs  # noqa: B018


@pytest.mark.parametrize(
    ("statement", "absent"),
    [
        ("import firmware_host", ("numpy", "pydantic", "pint", "serial", "typer", "rich")),
        ("import firmware_host; firmware_host.load_job", ("serial", "typer", "rich", "firmware_host.station")),
        ("import firmware_host; firmware_host.run_job", ("typer", "rich", "firmware_host.simulator")),
    ],
    ids=["the-package", "loading", "running"],
)
def test_only_what_is_used_is_imported(statement: str, absent: tuple[str, ...]) -> None:
    code = f"import sys; {statement}; print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=PATIENCE_S, env=environment(), check=True
    )
    loaded = set(done.stdout.split())
    assert "firmware_host" in loaded
    assert loaded.isdisjoint(absent)
