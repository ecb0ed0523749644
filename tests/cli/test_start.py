"""What a command may load before it does anything: each in a process of its own, by the libraries then there."""

import os
import subprocess
import sys

import pytest

from firmware_host.cli.commands import COMMANDS, Commands
from firmware_host.cli.input.planned import read
from firmware_host.cli.main import app
from firmware_host.system.environment import set_for_now
from tests.cli.command import PATIENCE_S, environment

#: Libraries that take long to load, and are to be there only where a command uses them.
HEAVY = frozenset(
    {"numpy", "pydantic", "pint", "rich.console", "serial", "filelock", "psutil", "trimesh", "jinja2", "matplotlib"}
    | {"uvicorn", "starlette"}
)

#: The option parser loads pydantic itself, as soon as there is a word to read.
FILES = {"pydantic"}
PLANS = {"pydantic", "numpy"}
LOADED = [
    (("--help",), {"rich.console"}),
    ((), {"rich.console"}),
    (("--version",), set()),
    (("segmens",), {"pydantic"}),
    (("schema", "job"), FILES),
    (("profile", "list"), FILES),
    (("station", "list"), FILES),
    (("segments", "shaft-scale"), PLANS),
    (("segments", "shaft-scale", "--json"), PLANS),
    (("segments", "bottle-band"), PLANS),
    (("moves", "shaft-scale"), PLANS),
    (("picture", "shaft-scale"), PLANS | {"matplotlib"}),
    (
        ("report", "shaft-scale", "--output", "no such folder/r.html"),
        PLANS | {"matplotlib", "jinja2", "serial", "filelock", "psutil"},
    ),
    (("preview", "shaft-scale", "--output", "no such folder/mark.svg"), PLANS | {"matplotlib"}),
    (("moves", "shaft-scale", "--format", "csv"), PLANS),
    (("limits", "shaft-scale"), PLANS | {"rich.console"}),
    (("motors", "shaft-scale"), PLANS | {"rich.console"}),
    (("time", "shaft-scale"), PLANS | {"serial", "filelock"}),
    (("seam", "shaft-scale", "--gap", "0.2 mm"), PLANS),
    (("commission", "list"), PLANS | {"serial", "filelock", "psutil"}),
    (("run", "shaft-scale", "--only", "99"), PLANS | {"serial", "filelock", "psutil", "rich.console"}),
    (("resume", "no such folder"), PLANS | {"serial", "filelock", "psutil", "rich.console"}),
    (("runs", "list"), PLANS | {"serial", "filelock"}),
]


def last_line_of(code: str) -> str:
    """What a program of these words prints last, in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=PATIENCE_S, env=environment(), check=True
    )
    return done.stdout.splitlines()[-1]


def loaded_by(*arguments: str) -> set[str]:
    code = f"import sys; from firmware_host.cli.main import run; run({list(arguments)}); print(*sys.modules)"
    return set(last_line_of(code).split())


@pytest.mark.some(6)
@pytest.mark.parametrize(("arguments", "may"), LOADED, ids=[" ".join(words) or "nothing" for words, _ in LOADED])
def test_a_command_loads_no_heavy_library_that_it_does_not_use(arguments: tuple[str, ...], may: set[str]) -> None:
    loaded = loaded_by(*arguments)
    assert "typer" in loaded
    assert loaded & HEAVY <= may


def test_an_error_in_a_unit_may_load_the_unit_library_and_nothing_else_does() -> None:
    assert "pint" in loaded_by("segments", "shaft-scale", "--true-diameter", "5 furlong")
    assert "pint" not in loaded_by("segments", "shaft-scale", "--true-diameter", "48.3 mm")


def test_segments_loads_nothing_of_the_limits_nor_of_the_export() -> None:
    loaded = loaded_by("segments", "shaft-scale")
    not_asked = ("planning.limits", "planning.index", "planning.reliability", "planning.export", "reporting.export")
    ours = [f"firmware_host.{room}" for room in (*not_asked, "station", "controller", "simulator")]
    assert not {name for name in loaded if name.startswith(tuple(ours))}


def test_segments_of_a_shaft_in_a_chuck_loads_nothing_that_only_errors_rollers_a_mesh_or_json_need() -> None:
    loaded = loaded_by("segments", "shaft-scale")
    contact = {f"firmware_host.mechanics.contact.{part}" for part in ("rollers", "trough", "creep", "tilted")}
    assert not loaded & {"firmware_host.acts", "firmware_host.model.part.mesh_file", "json", "shlex", *contact}
    assert contact <= loaded_by("limits", "bottle-band")


def test_a_command_ends_without_a_last_look_for_garbage() -> None:
    code = (
        "import gc, sys\n"
        "from firmware_host.cli.main import main\n"
        "sys.argv = ['circumstep', 'profile', 'list']\n"
        "try:\n"
        "    main()\n"
        "except SystemExit as end:\n"
        "    print(end.code, gc.get_freeze_count() > 10_000, len(gc.get_objects()) < 1_000)"
    )
    assert last_line_of(code) == "0 True True"


@pytest.mark.some(1)
@pytest.mark.parametrize(
    "words",
    [("segments", "shaft-scale"), ("limits", "shaft-scale")],
    ids=["segments", "limits"],
)
def test_a_command_that_reads_a_job_does_not_look_through_all_installed_packages(words: tuple[str, ...]) -> None:
    code = (
        "import importlib.metadata as installed, os\n"
        "asked = []\n"
        "installed.entry_points = lambda **of: asked.append(of) or ()\n"
        "from firmware_host.cli.main import run\n"
        f"print()\nstatus = run({list(words)})\n"
        "print(asked, 'PYDANTIC_DISABLE_PLUGINS' in os.environ)"
    )
    assert last_line_of(code) == "[] False"


def test_the_table_looks_at_the_start_of_every_command_that_opens_no_port() -> None:
    opening = {"run", "resume", "redo", "jog", "align", "demo", "controller"}
    assert {words[0] for words, _ in LOADED if words} >= {entry.name for entry in COMMANDS} - opening


@pytest.mark.parametrize("name", ["OPENBLAS_NUM_THREADS", "PYDANTIC_DISABLE_PLUGINS"])
@pytest.mark.parametrize("said", [None, "3"], ids=["unset", "set"])
def test_the_environment_that_a_gate_program_inherits_is_left_as_it_was(
    name: str, said: str | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    commands = Commands(name="circumstep")
    assert app.info.cls is Commands
    monkeypatch.delenv(name, raising=False)
    if said is not None:
        monkeypatch.setenv(name, said)
    commands.load("schema")
    read("shaft-scale")
    assert os.environ.get(name) == said


def test_a_variable_that_is_set_for_now_is_gone_after_an_error_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("CIRCUMSTEP_A", raising=False)
    monkeypatch.setenv("CIRCUMSTEP_B", "theirs")
    with pytest.raises(ValueError, match="ours, theirs"), set_for_now(CIRCUMSTEP_A="ours", CIRCUMSTEP_B="ours"):
        raise ValueError(f"{os.environ['CIRCUMSTEP_A']}, {os.environ['CIRCUMSTEP_B']}")
    assert "CIRCUMSTEP_A" not in os.environ
    assert os.environ["CIRCUMSTEP_B"] == "theirs"
