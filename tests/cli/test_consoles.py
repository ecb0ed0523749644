"""Every command that prints, as a process of its own, on consoles that lack the signs it uses."""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path

import pytest

from tests.cli.command import COMMAND, PATIENCE_S, ROOT, environment

NAME = "shaft \N{PLUS-MINUS SIGN}0.1 \N{MICRO SIGN}m \N{CYRILLIC CAPITAL LETTER ZHE} \N{THUMBS UP SIGN}"


@pytest.fixture(autouse=True)
def _job(home: Path) -> None:
    text = (ROOT / "profiles" / "jobs" / "shaft-scale.toml").read_text("utf-8")
    (line,) = [line for line in text.splitlines() if line.startswith("name = ")]
    (home / "job.toml").write_text(text.replace(line, f'name = "{NAME}"'), encoding="utf-8")


def printed(encoding: str, *arguments: str, status: int = 0) -> tuple[str, str]:
    """What a command prints to a console of this encoding."""
    done = subprocess.run(
        [*COMMAND, *arguments],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=PATIENCE_S,
        env=environment() | {"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"},
    )
    out, err = done.stdout.decode(encoding), done.stderr.decode(encoding)
    assert done.returncode == status, err
    assert "internal error" not in err
    assert "Traceback" not in err
    return out, err


@pytest.mark.some(4)
@pytest.mark.parametrize(
    ("encoding", "arguments", "words"),
    [
        ("ascii", ("segments", "job.toml", "--details"), "+/-"),
        ("cp866", ("segments", "job.toml", "--details"), "+/-"),
        ("ascii", ("limits", "job.toml"), "Verdict: holds"),
        ("ascii", ("moves", "job.toml"), "microstep"),
        ("ascii", ("moves", "job.toml", "--format", "rs274"), "mark now"),
        ("ascii", ("moves", "job.toml", "--format", "csv"), "target"),
        ("ascii", ("profile", "show", "job", "job.toml"), "+/-0.1 um"),
        ("ascii", ("profile", "list"), "belt-chuck"),
        ("ascii", ("--help",), "circumstep"),
        ("cp866", ("demo", "job.toml", "--clock", "50"), "Job: shaft +/-0.1 um"),
    ],
    ids=["segments", "cp866", "limits", "moves", "rs274", "csv", "show", "list", "help", "demo"],
)
def test_a_command_prints_all_it_has_to_say(encoding: str, arguments: tuple[str, ...], words: str) -> None:
    out, _ = printed(encoding, *arguments)
    assert words in out


@pytest.mark.some(1)
@pytest.mark.parametrize("encoding", ["ascii", "cp866", "cp437"])
def test_a_column_keeps_its_place_though_its_sign_is_written_otherwise(encoding: str) -> None:
    out, _ = printed(encoding, "segments", "job.toml", "--details")
    title, *rows = out[out.index("Seams (") :].splitlines()[1:7]
    ends = [len(row.rstrip()) for row in rows]
    assert len(title.rstrip()) <= max(ends)
    assert len(set(ends)) == 1


def test_an_error_names_what_it_cannot_show() -> None:
    _, err = printed("ascii", "segments", "\N{CYRILLIC CAPITAL LETTER ZHE}.toml", status=2)
    assert "\\u0416.toml" in err


def test_json_is_the_same_on_every_console() -> None:
    out, _ = printed("ascii", "moves", "job.toml", "--json")
    assert json.loads(out) == json.loads(printed("utf-8", "moves", "job.toml", "--json")[0])


def test_a_file_is_written_in_utf_8_whatever_the_console_shows(home: Path) -> None:
    printed("ascii", "moves", "job.toml", "--format", "rs274", "--output", "moves.rs274")
    printed("utf-8", "moves", "job.toml", "--format", "rs274", "--output", "same.rs274")
    assert (home / "moves.rs274").read_bytes() == (home / "same.rs274").read_bytes()


@pytest.mark.posix("the language C of its terminals")
def test_a_terminal_without_a_language_is_enough() -> None:
    done = subprocess.run(
        [*COMMAND, "segments", "job.toml", "--details"],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=PATIENCE_S,
        env={key: value for key, value in environment().items() if not key.startswith(("LC_", "LANG"))}
        | {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0", "PATH": os.defpath},
    )
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"+/-" in done.stdout
