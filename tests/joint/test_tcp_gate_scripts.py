"""The two scripts of the docs' page on the tcp gate, each driving a whole run on a served simulated controller."""

from __future__ import annotations

import json
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.cli.command import PATIENCE_S, ROOT, Program
from tests.support.three_segments import JOB, own_folders

PAGE = ROOT / "docs" / "pages" / "gate-tcp.md"
GATED_JOB = JOB.replace('arc = "30 mm"\n', 'arc = "30 mm"\npasses = 2\n') + '[gate]\nkind = "tcp"\ntimeout = "30 min"\n'
PASSES = [(segment, number) for segment in (1, 2, 3) for number in (1, 2)]
RUN_BY = {"python": (sys.executable, "-W", "error"), "bash": ("sh",)}
MARKED = "".join(f"marking segment {segment} pass {number}\n" for segment, number in PASSES)


@pytest.fixture(autouse=True)
def _job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own_folders(tmp_path, monkeypatch)
    Path("job.toml").write_text(GATED_JOB, encoding="utf-8")


def script(language: str) -> str:
    (text,) = re.findall(rf"^```{language}\n(.*?)^```$", PAGE.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL)
    return str(text)


def driven(*command: str) -> tuple[str, dict[str, Any]]:
    """Run the job with `command` and the path of gate.json on the marking side: what it printed, and the record."""
    with Program("controller", "simulate", "--clock", "20") as board:
        port = board.wait_for("out", "\n").strip()
        with Program("run", "job.toml", "--port", port, "--json") as run:
            run.wait_for("err", "waiting for the marking side")
            (gate,) = Path("runs").glob("*/gate.json")
            done = subprocess.run(
                [*command, str(gate)], stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=PATIENCE_S
            )
            ended = run.end()
    assert ended.status == 0, ended.err
    assert done.returncode == 0, done.stderr
    return done.stdout, json.loads(ended.out)


def check(printed: str, record: dict[str, Any]) -> None:
    assert printed == MARKED
    assert record["outcome"] == "done"
    assert [(entry["segment"], entry["number"], entry["status"]) for entry in record["passes"]] == [
        (*one, "done") for one in PASSES
    ]


needs_nc = pytest.mark.skipif(shutil.which("nc") is None, reason="needs nc (Debian: netcat-openbsd)")
each_language = pytest.mark.parametrize("language", ["python", pytest.param("bash", marks=needs_nc)])


def written(language: str, folder: Path) -> list[str]:
    """The script of the docs in a file of its own, and what runs it."""
    path = folder / "mark_passes"
    path.write_text(script(language), encoding="utf-8")
    return [*RUN_BY[language], str(path)]


@each_language
def test_a_script_of_the_docs_drives_a_whole_run_and_ends_by_itself(language: str, tmp_path: Path) -> None:
    check(*driven(*written(language, tmp_path)))


@each_language
@pytest.mark.parametrize("how", ["stopped", "killed"])
def test_a_script_of_the_docs_ends_with_the_run_however_that_ends_and_says_so(
    language: str, how: str, tmp_path: Path
) -> None:
    Path("job.toml").write_text(GATED_JOB.replace("passes = 2", "passes = 900"), encoding="utf-8")
    with Program("controller", "simulate", "--clock", "20") as board:
        port = board.wait_for("out", "\n").strip()
        with Program("run", "job.toml", "--port", port) as run:
            run.wait_for("err", "waiting for the marking side")
            (gate,) = Path("runs").glob("*/gate.json")
            with subprocess.Popen(
                [*written(language, tmp_path), str(gate)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
            ) as marking:
                assert marking.stdout is not None
                assert marking.stdout.readline() == "marking segment 1 pass 1\n"
                if how == "stopped":
                    run.interrupt()
                else:
                    run.kill()
                _, said = marking.communicate(timeout=PATIENCE_S)
            status = run.end().status
    assert status == (4 if how == "stopped" else -signal.SIGKILL)
    assert marking.returncode == 1
    assert ('"outcome": "stopped"' if how == "stopped" else "the run went away") in said


@pytest.mark.parametrize("language", ["python", "bash"])
def test_the_scripts_have_twenty_lines_at_most(language: str) -> None:
    assert len([line for line in script(language).splitlines() if line.strip()]) <= 20


@pytest.mark.parametrize("language", ["python", "bash"])
def test_a_script_with_a_wrong_token_says_so_and_fails(language: str, tmp_path: Path) -> None:
    if language == "bash" and shutil.which("nc") is None:
        pytest.skip("needs nc (Debian: netcat-openbsd)")
    path = tmp_path / "mark_passes"
    path.write_text(script(language), encoding="utf-8")
    with Program("controller", "simulate", "--clock", "20") as board:
        port = board.wait_for("out", "\n").strip()
        with Program("run", "job.toml", "--port", port) as run:
            run.wait_for("err", "waiting for the marking side")
            (gate,) = Path("runs").glob("*/gate.json")
            wrong = tmp_path / "wrong.json"
            (tmp_path / "token").write_text("0" * 32 + "\n", encoding="utf-8")
            told = json.loads(gate.read_text("utf-8")) | {"token_file": str(tmp_path / "token")}
            wrong.write_text(json.dumps(told), encoding="utf-8")
            command = [sys.executable if language == "python" else "sh", str(path), str(wrong)]
            done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=PATIENCE_S)
            run.interrupt()
            assert run.end().status == 4
    assert done.returncode != 0
    assert "wrong token" in done.stderr
    assert done.stdout == ""
