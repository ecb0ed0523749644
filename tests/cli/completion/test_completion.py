"""Completion, asked for as each shell does: commands, options, choices, profiles, runs; nothing heavy is loaded."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import shellingham

from firmware_host.cli.program import COMPLETION_ASKED_BY
from firmware_host.model.files.profiles import list_profiles
from firmware_host.planning.limits.registry import LIMITS
from tests.cli.command import PATIENCE_S, call, environment
from tests.cli.completion.table import FILE, text
from tests.cli.test_start import HEAVY

SHELLS = ("bash", "zsh", "fish", "powershell", "pwsh")


def as_asked(shell: str, line: str) -> dict[str, str]:
    """The variables that a shell's script sets before it calls the program, for what is typed up to the cursor."""
    if shell == "bash":
        words = line.split(" ")
        return {COMPLETION_ASKED_BY: "complete_bash", "COMP_WORDS": line, "COMP_CWORD": str(len(words) - 1)}
    given = {COMPLETION_ASKED_BY: f"complete_{shell}", "_TYPER_COMPLETE_ARGS": line}
    if shell == "fish":
        return given | {"_TYPER_COMPLETE_FISH_ACTION": "get-args"}
    return given | (
        {"_TYPER_COMPLETE_WORD_TO_COMPLETE": line.split(" ")[-1]} if "power" in shell or "pwsh" in shell else {}
    )


def told(line: str, monkeypatch: pytest.MonkeyPatch, shell: str = "bash") -> str:
    with monkeypatch.context() as asking:
        for name, value in as_asked(shell, line).items():
            asking.setenv(name, value)
        ended = call()
    assert ended.status == 0, ended.err
    assert ended.err == ""
    return ended.out


def completed(line: str, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    return [word for word in told(line, monkeypatch).split("\n") if word]


def test_the_kept_words_are_those_of_the_commands() -> None:
    assert FILE.read_text(encoding="utf-8") == text(), "python -m tests.cli.completion.table writes them anew"


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("circumstep seg", ["segments"]),
        ("circumstep re", ["report", "resume", "redo"]),
        ("circumstep controller set", ["settings"]),
        ("circumstep controller settings w", ["write"]),
        ("circumstep segments shaft-scale --true", ["--true-diameter", "--true-roller"]),
        ("circumstep segments --units ", ["metric", "inch"]),
        ("circumstep segments sha", ["shaft-scale"]),
        ("circumstep run job.toml --zero h", ["here", "home"]),
        ("circumstep picture shaft-scale end", ["end-on"]),
        ("circumstep picture shaft-scale tim", ["timing"]),
        ("circumstep preview shaft-scale --wrong diameter-too-b", ["diameter-too-big"]),
        ("circumstep commission measure lost", ["lost-motion"]),
        ("circumstep commission run belt-chuck rat", ["ratio"]),
        ("circumstep limits shaft-scale --accept-limit cre", ["creep"]),
        ("circumstep controller simulate --machine belt", ["belt-chuck"]),
        ("circumstep profile show motor nema14-p", ["nema14-pancake"]),
        ("circumstep profile check ma", ["machine"]),
        ("circumstep schema tr", ["true-machine"]),
        ("circumstep station new bench --gate op", ["operator"]),
        ("circumstep no-such-command x", []),
    ],
)
def test_what_may_come_next(line: str, found: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    assert sorted(completed(line, monkeypatch)) == sorted(found)


def test_jobs_are_the_shipped_the_users_own_and_the_files_here(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own = home / "xdg_config_home/circumstep/jobs"
    own.mkdir(parents=True)
    (own / "mine.toml").touch()
    (home / "below").mkdir()
    (home / "below/part two.toml").touch()
    Path("here.toml").touch()
    Path("no-job.txt").touch()
    found = completed("circumstep limits ", monkeypatch)
    shipped = {each.name for each in list_profiles("jobs") if each.shipped}
    assert {"mine", "here.toml", "below/", *shipped} <= set(found)
    assert "no-job.txt" not in found
    assert completed("circumstep limits below/", monkeypatch) == [r"below/part\ two.toml"]


def test_runs_are_those_kept_here_the_newest_first(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("20260102-090000-cup", "20260301-132007-shaft"):
        (home / "runs" / name).mkdir(parents=True)
    newest_first = ["runs/20260301-132007-shaft", "runs/20260102-090000-cup"]
    assert completed("circumstep resume ", monkeypatch) == newest_first
    assert completed("circumstep runs show runs/20260102", monkeypatch) == newest_first[1:]


def test_stations_are_those_that_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    assert completed("circumstep station use ", monkeypatch) == []
    kept = call("station", "new", "bench", "--machine", "belt-chuck", "--port", "socket://127.0.0.1:9")
    assert kept.status == 0, kept.err
    assert completed("circumstep station use ", monkeypatch) == ["bench"]
    assert completed("circumstep run shaft-scale --station b", monkeypatch) == ["bench"]


def test_every_limit_can_be_asked_why(monkeypatch: pytest.MonkeyPatch) -> None:
    assert set(completed("circumstep limits shaft-scale --why ", monkeypatch)) == {each.name for each in LIMITS}


@pytest.mark.parametrize("shell", SHELLS)
def test_every_shell_is_told_in_its_own_form(shell: str, monkeypatch: pytest.MonkeyPatch) -> None:
    answer = told("circumstep commission meas", monkeypatch, shell)
    assert "measure" in answer
    assert "marks" not in answer


@pytest.mark.parametrize("asked", ["--install-completion", "--show-completion"])
def test_where_no_shell_calls_one_message_says_what_to_do(asked: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def nothing() -> tuple[str, str]:
        raise shellingham.ShellDetectionFailure

    for detected, said in ((nothing, "none of the shells"), (lambda: ("tcsh", "/bin/tcsh"), "none of the shells")):
        monkeypatch.setattr("shellingham.detect_shell", detected)
        ended = call(asked)
        assert (ended.status, ended.out) == (2, "")
        assert said in ended.err
        assert "bash, zsh, fish, powershell" in ended.err


@pytest.mark.parametrize("shell", SHELLS[:4])
def test_every_shell_gets_a_script_that_asks_so(shell: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shellingham.detect_shell", lambda: (shell, f"/bin/{shell}"))
    monkeypatch.setenv("_TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION", "1")  # else it is the shell that calls
    ended = call("--show-completion", shell)
    assert (ended.status, ended.err) == (0, "")
    assert f"complete_{shell}" in ended.out
    assert COMPLETION_ASKED_BY in ended.out


def test_a_tab_loads_nothing_heavy_and_no_file_of_a_command() -> None:
    code = "import sys; from firmware_host.cli.main import run; run([]); print(*sys.modules)"
    asked = environment() | as_asked("bash", "circumstep limits shaft-scale --accept-limit ")
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=PATIENCE_S, env=asked, check=True
    )
    loaded = set(done.stdout.splitlines()[-1].split())
    assert loaded & HEAVY <= {"pydantic"}  # the option parser loads it itself
    rooms = tuple(
        f"firmware_host.{room}" for room in ("model", "planning", "reporting", "station", "cli.see", "cli.turn")
    )
    assert not {name for name in loaded if name.startswith(rooms)}


@pytest.mark.skipif(shutil.which("bash") is None or os.name == "nt", reason="needs bash")
def test_bash_completes_with_its_script(tmp_path: Path) -> None:
    program = tmp_path / "circumstep"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m firmware_host "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    (tmp_path / "my job.toml").touch()
    shows = environment() | {"_TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION": "1"}
    script = subprocess.run(
        [str(program), "--show-completion", "bash"], capture_output=True, text=True, env=shows, check=True
    ).stdout
    typed = (
        f"{script}\nCOMP_WORDS=(circumstep segments my); COMP_CWORD=2\n"
        '_circumstep_completion circumstep; printf "%s\\n" "${COMPREPLY[@]}"; complete -p circumstep'
    )
    path = os.pathsep.join((str(tmp_path), os.environ["PATH"]))
    done = subprocess.run(
        ["bash", "--norc", "-c", typed],
        cwd=tmp_path,
        env=environment() | {"PATH": path},
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=True,
    )
    assert done.stdout.splitlines() == [r"my\ job.toml", "complete -o default -F _circumstep_completion circumstep"]
