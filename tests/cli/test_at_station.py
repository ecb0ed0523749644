"""A station that is kept: `run`, `resume` and the commands of the controller need no option then."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.command import Program
from tests.cli.conftest import Circumstep
from tests.support.three_segments import JOB

NOTES = "import pathlib, sys; pathlib.Path(sys.argv[1]).open('a').write('marked\\n')"


@pytest.fixture
def port() -> Iterator[str]:
    with Program("controller", "simulate", "--clock", "20") as board:
        yield board.wait_for("out", "\n").strip()


def keep(circumstep: Circumstep, port: str, *words: str) -> None:
    kept = circumstep("station", "new", "bench", "--machine", "belt-chuck", "--port", port, *words)
    assert kept.status == 0, kept.err


def test_a_job_is_run_with_the_stations_port_gate_and_program(circumstep: Circumstep, port: str, home: Path) -> None:
    Path("my job.toml").write_text(JOB, encoding="utf-8")
    marked = home / "marked passes"
    program = (sys.executable, "-c", NOTES, str(marked))
    keep(circumstep, port, "--gate", "command", "--gate-option", "timeout=20 s", "--", *program)
    compared = circumstep("controller", "settings", "compare", "my job")
    assert f"at station bench: machine belt-chuck, port {port}\n" in compared.err
    ended = circumstep("run", "my job", "--write-settings", "--json")
    assert ended.status == 0, ended.err
    told = f"at station bench: machine belt-chuck, port {port}, gate command, program {sys.executable}"
    assert [line for line in ended.err.splitlines() if line.startswith("at station")] == [told]
    passes = len(json.loads(ended.out)["passes"])
    assert marked.read_text("utf-8").splitlines() == ["marked"] * passes
    (run,) = Path("runs").iterdir()
    assert json.loads((run / "setup.json").read_text("utf-8"))["job"]["gate"]["kind"] == "command"


def test_the_controller_is_asked_at_the_station(circumstep: Circumstep, port: str) -> None:
    keep(circumstep, port)
    for words in (("show",), ("unlock",), ("clear-offset",), ("show", "--station", "bench"), ("show", "--port", port)):
        ended = circumstep("controller", *words)
        assert ended.status == 0, ended.err
        assert "at station bench: machine belt-chuck" in ended.err
        assert (f"port {port}" in ended.err) == ("--port" not in words)


def test_a_job_for_another_machine_is_not_run_there(circumstep: Circumstep, port: str) -> None:
    keep(circumstep, port)
    refused = circumstep("run", "bottle-band")
    assert refused.status == 2
    assert "bottle-band.toml: machine: the job is for" in refused.err
    assert "at station bench stands belt-chuck" in refused.err
    assert "See all stations with: circumstep station list" in refused.err
    assert not Path("runs").exists()
    shown = circumstep("controller", "show", "--machine", "two-rollers", "--port", port)
    assert "warning: at this port stands belt-chuck, the machine of station bench\n" in shown.err


def test_a_run_is_resumed_with_the_stations_program(circumstep: Circumstep, port: str, home: Path) -> None:
    Path("job.toml").write_text(JOB, encoding="utf-8")
    marked = home / "marked"
    words = ("--gate", "command", "--gate-option", "timeout=20 s", "--", sys.executable, "-c")
    keep(circumstep, port, *words, "raise SystemExit(1)")
    assert circumstep("run", "job.toml", "--write-settings").status == 4
    changed = circumstep("station", "change", "bench", "--", sys.executable, "-c", NOTES, str(marked))
    assert changed.status == 0, changed.err
    (run,) = Path("runs").iterdir()
    ended = circumstep("resume", str(run), "--assume", "not-done", "--zero", "here", "--json")
    assert ended.status == 0, ended.err
    assert f"at station bench: machine belt-chuck, program {sys.executable}" in ended.err
    assert len(marked.read_text("utf-8").splitlines()) == len(json.loads(ended.out)["passes"])
