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

STUB = Path(firmware_host.__file__ or "").with_suffix(".pyi")
HOMES = {
    alias.name: f"firmware_host.{node.module}"
    for node in ast.walk(ast.parse(STUB.read_text(encoding="utf-8")))
    if isinstance(node, ast.ImportFrom)
    for alias in node.names
    if alias.asname == alias.name
}


def test_every_public_name_is_what_the_type_checker_is_told_and_described() -> None:
    assert sorted(firmware_host.__all__) == sorted(HOMES)
    assert set(HOMES) <= set(dir(firmware_host))
    for name, home in HOMES.items():
        value = getattr(firmware_host, name)
        assert value is getattr(import_module(home), name), name
        assert value.__module__ == home, f"{name} stands in {value.__module__}"
        assert value.__doc__, name
        assert not home.startswith("firmware_host.cli")


def test_the_public_api_stays_small() -> None:
    """A name is public when a program that embeds this, or a plug-in, has to look for it."""
    assert len(HOMES) <= 54


def test_a_name_that_is_not_there_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match=r"firmware_host.* load_jobs"):
        firmware_host.load_jobs  # noqa: B018


@pytest.mark.parametrize(
    ("statement", "absent"),
    [
        ("import firmware_host", ("numpy", "pydantic", "pint", "serial", "typer", "rich")),
        ("import firmware_host; firmware_host.load_job", ("serial", "typer", "rich", "firmware_host.station")),
        ("import firmware_host; firmware_host.open_station", ("typer", "rich", "firmware_host.simulator")),
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
