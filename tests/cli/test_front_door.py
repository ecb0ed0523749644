"""Usage errors, `--debug`, readers that go away, and texts that would drive a terminal."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path
from typing import Any

import pytest

from firmware_host.cli.commands import COMMANDS, Entry
from firmware_host.cli.input import planned
from tests.cli.command import COMMAND, PATIENCE_S, Program, call, environment
from tests.cli.conftest import Circumstep
from tests.cli.whole import every_command
from tests.model.files.files_for_tests import JOB, write_all


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("segmens", "shaft-scale"), "No such command 'segmens'"),
        (("segments", "shaft-scale", "--jason"), "No such option: --jason"),
        (("segments",), "Missing argument 'JOB'"),
        (("moves", "shaft-scale", "--format", "dxf"), "no format 'dxf'. Known: table, rs274, csv, json"),
        (("demo", "--clock", "0"), "0"),
        (("controller", "settings", "read"), "No such command 'read'"),
        (("run", "shaft-scale", "--port"), "requires an argument"),
        (("run", "shaft-scale", "mark-it"), "the job's gate, operator, starts no program. Leave out 'mark-it'"),
        (("run", "shaft-scale", "--gate-program", "a", "--", "b"), "the gate's program is named twice"),
        (("run", "shaft-scale", "--gate-program", 'mark "it'), "is no command (No closing quotation"),
        (("resume", "nowhere"), "nowhere: is no run folder"),
        (("schema", "gate"), "no file kind 'gate'. Known kinds: job, machine, motor"),
        (("profile", "show", "laser", "x"), "no profile kind 'laser'"),
        (("profile", "new", "job", "a/b"), "'a/b' is no profile name"),
        (("profile", "new", "job", ""), "'' is no profile name"),
    ],
    ids=[
        "command", "option", "no-argument", "choice", "range", "sub-command", "no-value",
        "program", "two-programs", "open-quote", "no-run-folder",
        "schema-kind", "profile-kind", "profile-name", "no-name",
    ],
)  # fmt: skip
def test_wrong_usage_gives_status_2_and_says_what_is_wrong(
    circumstep: Circumstep, arguments: tuple[str, ...], words: str
) -> None:
    ended = circumstep(*arguments)
    assert (ended.status, ended.out) == (2, "")
    assert words in ended.err
    assert "Traceback" not in ended.err


def every_path(node: Any, words: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """The words of each command and each group of commands, those of the program (none) first."""
    yield words
    for name, child in getattr(node, "commands", {}).items():
        yield from every_path(child, (*words, name))


@pytest.mark.some(20)
@pytest.mark.parametrize("words", list(every_path(every_command())), ids=lambda words: " ".join(words) or "program")
def test_each_command_has_a_short_way_to_its_help_and_an_error_names_that_help(
    circumstep: Circumstep, words: tuple[str, ...]
) -> None:
    asked = circumstep(*words, "--help")
    assert asked.status == 0
    assert f"Usage: {' '.join(('circumstep', *words))} " in asked.out
    assert circumstep(*words, "-h") == asked
    wrong = circumstep(*words, "--no-such-option")
    assert wrong.status == 2
    advised = wrong.err.partition(" See ")[2].split()
    assert advised == ["circumstep", *words, "--help"]
    version = circumstep(*words, "--version")
    assert (version.status, version.out, version.err) == (0, f"circumstep {metadata.version('circumstep')}\n", "")


def test_a_group_without_a_command_shows_its_help_and_says_that_one_is_missing(circumstep: Circumstep) -> None:
    ended = circumstep("controller", "settings")
    assert (ended.status, ended.err) == (
        2,
        "error: no command is named. See circumstep controller settings --help\n",
    )
    assert "compare" in ended.out


def test_words_for_another_program_are_not_taken_for_ours(circumstep: Circumstep) -> None:
    ended = circumstep("run", "shaft-scale", "--", "mark", "--version")
    assert "starts no program. Leave out 'mark --version'" in ended.err


def test_help_shows_the_cautions_and_every_command(circumstep: Circumstep) -> None:
    shown = " ".join(circumstep("--help").out.split())
    assert "Software is no safety function" in shown
    for entry in COMMANDS:
        assert f" {entry.name} " in shown


@pytest.mark.parametrize("entry", COMMANDS, ids=lambda entry: entry.name)
def test_a_command_tells_in_its_own_help_what_the_list_of_commands_tells(circumstep: Circumstep, entry: Entry) -> None:
    said = " ".join(entry.help.split())
    for arguments, words in (
        (("--help",), entry.help.partition("\n")[0].split()),
        ((entry.name, "--help"), said.split()),
    ):
        shown = circumstep(*arguments).out.replace("│", " ").split()
        assert any(shown[start : start + len(words)] == words for start in range(len(shown))), words


@pytest.mark.parametrize(
    ("arguments", "absent"),
    [
        (("--help",), ("numpy", "pydantic", "pint", "serial", "firmware_host.model", "firmware_host.planning")),
        (("segmens",), ("numpy", "pint", "serial", "firmware_host.model", "firmware_host.planning")),
        (("profile", "list"), ("serial", "firmware_host.station", "firmware_host.planning")),
        (("moves", "shaft-scale"), ("serial", "firmware_host.station", "firmware_host.controller")),
    ],
    ids=["help", "unknown-command", "profile", "moves"],
)
def test_a_command_imports_only_the_rooms_that_it_needs(arguments: tuple[str, ...], absent: tuple[str, ...]) -> None:
    code = f"import sys; from firmware_host.cli.main import run; run({list(arguments)}); print(*sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=PATIENCE_S, env=environment(), check=True
    )
    loaded = set(done.stdout.splitlines()[-1].split())
    assert "firmware_host.cli.commands" in loaded
    assert loaded & set(absent) == set()


def test_debug_shows_the_traceback_and_keeps_the_status(circumstep: Circumstep, tmp_path: Path) -> None:
    job = str(write_all(tmp_path, job=JOB.replace('"50 mm"', "50")))
    plain = circumstep("segments", job)
    for arguments in (("--debug", "segments", job), ("segments", job, "--debug")):
        shown = circumstep(*arguments)
        assert shown.status == plain.status == 2
        assert shown.err.startswith("Traceback (most recent call last):")
        assert shown.err.endswith(plain.err)
    assert "Traceback" not in plain.err


def test_an_error_of_our_own_making_is_called_one_and_points_to_debug(
    circumstep: Circumstep, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr(planned, "plan_job", broken)
    ended = circumstep("limits", "shaft-scale")
    assert ended.status == 3
    assert ended.err == "internal error: ZeroDivisionError: division by zero. Run again with --debug\n"


@pytest.mark.some(3)
@pytest.mark.parametrize("command", ["segments", "limits", "moves"])
@pytest.mark.parametrize("options", [(), ("--json",)], ids=["table", "json"])
def test_a_reader_that_goes_away_leaves_no_traceback(command: str, options: tuple[str, ...]) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb") as gone:
        ended = subprocess.run(
            [*COMMAND, command, "shaft-scale", *options],
            stdout=gone,
            stderr=subprocess.PIPE,
            stdin=subprocess.DEVNULL,
            timeout=PATIENCE_S,
            env=environment(),
        )
    assert (ended.returncode, ended.stderr) == (4, b"")


@pytest.mark.posix("/dev/full")
def test_a_full_disk_is_said_in_one_line() -> None:
    with Path("/dev/full").open("wb") as full:
        ended = subprocess.run(
            [*COMMAND, "moves", "shaft-scale", "--format", "csv"],
            stdout=full,
            stderr=subprocess.PIPE,
            stdin=subprocess.DEVNULL,
            timeout=PATIENCE_S,
            env=environment(),
        )
    assert ended.returncode == 3
    assert ended.stderr == b"error: No space left on device\n"


@pytest.mark.posix("a program that is started with its standard streams closed")
def test_closed_standard_streams_are_no_reason_to_fail() -> None:
    def close_all() -> None:
        os.closerange(0, 3)

    ended = subprocess.run(
        [*COMMAND, "profile", "new", "job", "made.toml", "--from", "shaft-scale"],
        preexec_fn=close_all,
        timeout=PATIENCE_S,
        env=environment(),
    )
    assert ended.returncode == 0
    assert Path("made.toml").is_file()


EVIL = "\x1b]0;owned\x07\x1b[31m\u202e"


def test_control_characters_of_a_file_never_reach_the_terminal(circumstep: Circumstep, tmp_path: Path) -> None:
    name = EVIL.replace("\x1b", "\\u001b").replace("\x07", "\\u0007")
    spoilt = str(write_all(tmp_path, job=JOB.replace('"50 mm"', f'"50 {name}"')))
    (tmp_path / "raw.toml").write_text(f'name = "{EVIL[-1]}"\n# {EVIL[-1]}\n', encoding="utf-8")
    for arguments in (
        ("segments", spoilt),
        ("profile", "show", "job", spoilt),
        ("profile", "show", "job", str(tmp_path / "raw.toml")),
        ("segments", EVIL),
        ("segments", "shaft-scale", EVIL),
        (EVIL,),
    ):
        ended = circumstep(*arguments)
        text = ended.out + ended.err
        assert text
        assert all(char.isprintable() or char == "\n" for char in text)


def test_a_job_name_with_control_characters_is_shown_made_visible(circumstep: Circumstep, tmp_path: Path) -> None:
    shipped = circumstep("profile", "show", "job", "shaft-scale").out
    job = tmp_path / "job.toml"
    job.write_text(shipped.replace("graduated shaft, 60 mm of arc", "a\\u001b[31mb"), encoding="utf-8")
    ended = circumstep("demo", str(job))
    assert ended.status == 0
    assert ended.out.startswith("Job: a\\x1b[31mb. Machine: belt-reduced chuck, 60:20.\n")
    assert "\x1b" not in ended.out + ended.err


def test_markup_in_a_name_stays_as_it_is_written(circumstep: Circumstep) -> None:
    ended = circumstep("segments", "[bold]odd[/bold].toml")
    assert ended.err.startswith("error: [bold]odd[/bold].toml: no such file")


def test_a_json_document_is_plain_ascii(circumstep: Circumstep) -> None:
    for arguments in (("profile", "list", "--json"), ("schema", "job"), ("segments", "bottle-band", "--json")):
        out = circumstep(*arguments).out
        assert out.isascii()
        json.loads(out)


def test_the_command_is_also_a_module_and_a_process_of_its_own_says_what_it_says_here() -> None:
    for arguments in (("profile", "check", "job", "shaft-scale"), ("segments", "nowhere.toml")):
        with Program(*arguments) as program:
            assert program.end() == call(*arguments)
