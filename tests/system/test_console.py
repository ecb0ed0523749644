"""What can't be shown is written otherwise, and commands are quoted for the shell at hand; on either system."""

from __future__ import annotations

import errno
import io
import os
import sys
from types import SimpleNamespace
from typing import Any

import psutil
import pytest

from tests.support.windows.processes import arguments_of
from tests.system.conftest import Topic

SHOWN = "\u00b190\u00b0 \u2192"
ENCODINGS = {"ascii": "+/-90deg ->", "cp866": "+/-90\u00b0 ->", "cp1252": "\u00b190\u00b0 ->"}


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_a_sign_that_a_console_lacks_is_written_in_words(encoding: str, system: Topic) -> None:
    assert system("console").showable(SHOWN, encoding) == ENCODINGS[encoding]
    assert system("console").showable("\u0416\u4e2d", "ascii") == "\\u0416\\u4e2d"


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_streams_print_any_text_in_any_encoding(encoding: str, system: Topic, monkeypatch: pytest.MonkeyPatch) -> None:
    stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
    monkeypatch.setattr(sys, "stdout", stream)
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    system("console").prepare_streams()
    sys.stdout.write(SHOWN)
    sys.stdout.flush()
    assert stream.buffer.getvalue().decode(encoding) == ENCODINGS[encoding]  # type: ignore[attr-defined]


def test_streams_that_are_missing_lead_nowhere(system: Topic, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("stdin", "stdout", "stderr"):
        monkeypatch.setattr(sys, name, None)
    system("console").prepare_streams()
    made = (sys.stdin, sys.stdout, sys.stderr)
    sys.stdout.write(SHOWN)
    sys.stdout.flush()
    assert sys.stdin.read() == ""
    for stream in made:
        stream.close()


def test_a_reader_who_has_gone_is_told_from_other_errors(system: Topic) -> None:
    gone = system("console").is_reader_gone
    reading, writing = os.pipe()
    os.close(reading)
    with pytest.raises(BrokenPipeError, match="Broken pipe") as caught:
        os.write(writing, b"x")
    os.close(writing)
    assert gone(caught.value)
    assert not gone(OSError(errno.ENOSPC, "No space left on device"))


def test_on_windows_a_reader_who_has_gone_is_an_invalid_argument(on_windows: Topic) -> None:
    gone = on_windows("console").is_reader_gone
    assert gone(OSError(errno.EINVAL, "Invalid argument"))
    assert not gone(OSError(errno.EINVAL, "Invalid argument", "a:?"))


WORDS = ["circumstep", "run", r"D:\my jobs\shaft.toml", "--gate-program", '"mark" it\'s', "--note", "a b", "a&b"]


def above(monkeypatch: pytest.MonkeyPatch, console: Any, *names: str) -> None:
    """These programs have started this one, the nearest first."""
    chain = [SimpleNamespace(name=lambda name=name: name) for name in names]
    monkeypatch.setattr(psutil, "Process", lambda: SimpleNamespace(parents=lambda: chain))


@pytest.mark.parametrize("shells", [("python.exe", "cmd.exe"), ("explorer.exe",)], ids=["prompt", "none"])
def test_on_windows_a_command_is_quoted_for_the_prompt(
    shells: tuple[str, ...], on_windows: Topic, monkeypatch: pytest.MonkeyPatch
) -> None:
    console = on_windows("console")
    above(monkeypatch, console, *shells)
    line = console.command_line(WORDS)
    assert arguments_of(line) == WORDS
    assert '"a&b"' in line


@pytest.mark.parametrize("shell", ["powershell.exe", "pwsh.exe"])
def test_on_windows_a_command_is_quoted_for_powershell_where_that_is_at_hand(
    shell: str, on_windows: Topic, monkeypatch: pytest.MonkeyPatch
) -> None:
    console = on_windows("console")
    above(monkeypatch, console, "python.exe", shell, "cmd.exe")
    line = console.command_line(WORDS)
    assert line.startswith(r"circumstep run 'D:\my jobs\shaft.toml' --gate-program '")
    assert "it''s'" in line
    assert line.endswith(" --note 'a b' 'a&b'")
