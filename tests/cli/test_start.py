"""What a command may load before it does anything: each in a process of its own, by the libraries then there."""

import os
import subprocess
import sys

import pytest

from firmware_host.cli.commands import COMMANDS, Commands
from firmware_host.cli.main import app
from tests.cli.command import PATIENCE_S, environment

#: Libraries that take long to load, and are to be there only where a command uses them.
HEAVY = frozenset({"numpy", "pydantic", "pint", "rich.console", "serial", "filelock", "psutil", "trimesh", "jinja2"})

#: The option parser loads pydantic itself, as soon as there is a word to read.
FILES = {"pydantic"}
PLANS = {"pydantic", "numpy"}
LOADED = [
    (("--help",), {"rich.console"}),
    ((), {"rich.console"}),
    (("segmens",), {"pydantic"}),
    (("schema", "job"), FILES),
    (("profile", "list"), FILES),
    (("segments", "shaft-scale"), PLANS),
    (("segments", "shaft-scale", "--json"), PLANS),
    (("segments", "bottle-band"), PLANS),
    (("moves", "shaft-scale"), PLANS),
    (("moves", "shaft-scale", "--format", "csv"), PLANS),
    (("limits", "shaft-scale"), PLANS | {"rich.console"}),
    (("motors", "shaft-scale"), PLANS | {"rich.console"}),
    (("runs", "list"), PLANS | {"serial", "filelock"}),
]


def loaded_by(*arguments: str) -> set[str]:
    code = f"import sys; from firmware_host.cli.main import run; run({list(arguments)}); print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=PATIENCE_S, env=environment(), check=True
    )
    return set(done.stdout.splitlines()[-1].split())


@pytest.mark.parametrize(("arguments", "may"), LOADED, ids=[" ".join(words) or "nothing" for words, _ in LOADED])
def test_a_command_loads_no_heavy_library_that_it_does_not_use(arguments: tuple[str, ...], may: set[str]) -> None:
    loaded = loaded_by(*arguments)
    assert "typer" in loaded
    assert loaded & HEAVY <= may


def test_an_error_in_a_unit_may_load_the_unit_library_and_nothing_else_does() -> None:
    assert "pint" in loaded_by("segments", "shaft-scale", "--true-diameter", "5 furlong")
    assert "pint" not in loaded_by("segments", "shaft-scale", "--true-diameter", "48.3 mm")


def test_the_table_looks_at_the_start_of_every_command_that_opens_no_port() -> None:
    opening = {"run", "resume", "demo", "controller"}
    assert {words[0] for words, _ in LOADED if words} >= {entry.name for entry in COMMANDS} - opening


def test_the_environment_that_a_gate_program_inherits_is_left_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    commands = Commands(name="circumstep")
    assert app.info.cls is Commands
    for said in (None, "3"):
        monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
        if said is not None:
            monkeypatch.setenv("OPENBLAS_NUM_THREADS", said)
        commands.load("schema")
        assert os.environ.get("OPENBLAS_NUM_THREADS") == said
