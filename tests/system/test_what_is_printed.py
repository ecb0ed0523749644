"""What a console can't show is written otherwise; a command is quoted for the shell at hand."""

from __future__ import annotations

import errno
import io
import re
import sys
from types import SimpleNamespace
from typing import Any

import psutil
import pytest

from firmware_host.system import console
from tests.support.windows import hook
from tests.support.windows.processes import arguments_of

WINDOWS = hook.SystemRoom().module("console")


@pytest.mark.parametrize(
    ("text", "encoding", "shown"),
    [
        ("0.1 \N{PLUS-MINUS SIGN} 2 \N{MICRO SIGN}m", "cp866", "0.1 +/- 2 um"),
        ("90\N{DEGREE SIGN}", "ascii", "90deg"),
        ("90\N{DEGREE SIGN}", "cp866", "90\N{DEGREE SIGN}"),
        ("kg\N{MIDDLE DOT}m\N{SUPERSCRIPT TWO}", "ascii", "kg*m^2"),
        ("a \N{RIGHTWARDS ARROW} b \N{LESS-THAN OR EQUAL TO} c", "cp1252", "a -> b <= c"),
        ("\N{BOX DRAWINGS LIGHT HORIZONTAL}\N{BOX DRAWINGS LIGHT ARC DOWN AND LEFT}\u2502", "ascii", "-+|"),
        ("Bj\N{LATIN SMALL LETTER O WITH STROKE}rn \N{CYRILLIC CAPITAL LETTER ZHE}", "ascii", "Bj\\xf8rn \\u0416"),
        ("\N{CYRILLIC CAPITAL LETTER ZHE}", "cp866", "\N{CYRILLIC CAPITAL LETTER ZHE}"),
        ("\N{THUMBS UP SIGN}", "cp437", "\\U0001f44d"),
        ("name \udcff", "utf-8", "name \\udcff"),
        ("\N{PLUS-MINUS SIGN}", None, "\N{PLUS-MINUS SIGN}"),
    ],
    ids=[
        "cp866",
        "degree",
        "degree-there",
        "powers",
        "arrows",
        "lines",
        "letters",
        "cyrillic",
        "far",
        "half",
        "unknown",
    ],
)
def test_a_sign_that_is_missing_is_written_otherwise(text: str, encoding: str | None, shown: str) -> None:
    assert console.showable(text, encoding) == shown


def test_standard_output_prints_any_text_whatever_it_can_show(monkeypatch: pytest.MonkeyPatch) -> None:
    written = {name: io.BytesIO() for name in ("stdout", "stderr")}
    for name, raw in written.items():
        monkeypatch.setattr(sys, name, io.TextIOWrapper(raw, encoding="ascii", write_through=True))
    console.prepare_streams()
    for name in written:
        getattr(sys, name).write("\N{PLUS-MINUS SIGN}1 \udcff \N{BULLET}\n")
    assert {raw.getvalue() for raw in written.values()} == {b"+/-1 \\udcff *\n"}


WORDS = ("circumstep", "resume", r"C:\my runs\one & two", "it's", "a=b", "50%", "$HOME", "(x)", "", 'say "x"')


def test_a_command_is_quoted_for_a_posix_shell_there() -> None:
    posix = pytest.importorskip("firmware_host.system.posix.console")
    assert posix.command_line(["run", "my job.toml", "it's"]) == """run 'my job.toml' 'it'"'"'s'"""


def shells(monkeypatch: pytest.MonkeyPatch, *names: str) -> None:
    above = [SimpleNamespace(name=lambda name=name: name) for name in names]
    monkeypatch.setattr(psutil, "Process", lambda: SimpleNamespace(parents=lambda: above))


@pytest.mark.parametrize("names", [("cmd.exe",), ("circumstep.exe", "cmd.exe", "powershell.exe"), ()], ids=str)
def test_a_command_is_quoted_for_the_command_prompt_if_that_or_no_shell_is_above(
    names: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    shells(monkeypatch, *names)
    line = WINDOWS.command_line(WORDS)
    assert arguments_of(line) == list(WORDS)
    assert r'"C:\my runs\one & two"' in line
    assert '"it\'s"' in line
    assert " a=b " in line


def test_the_powershell_of_windows_needs_a_backslash_before_a_double_quotation_mark(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It puts words with spaces into quotation marks and hands on what is inside as it stands."""
    words = ['"C:\\My Tools\\mark.exe" --now', "C:\\My Tools\\", '"quick"', "it's"]
    shells(monkeypatch, "powershell.exe")
    typed = re.findall(r"'((?:[^']|'')*)'", WINDOWS.command_line(words))
    handed_on = [word.replace("''", "'") for word in typed]
    line = " ".join(f'"{word}"' if " " in word else word for word in handed_on)
    assert arguments_of(line) == words
    shells(monkeypatch, "pwsh.exe")
    assert WINDOWS.command_line(words[:1]) == "'\"C:\\My Tools\\mark.exe\" --now'"


@pytest.mark.parametrize("name", ["powershell.exe", "pwsh.exe", "pwsh"])
def test_a_command_is_quoted_for_powershell_if_that_is_above(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Single quotation marks; one inside is doubled (Microsoft, "about_Quoting_Rules")."""
    shells(monkeypatch, "python.exe", name, "cmd.exe")
    line = WINDOWS.command_line(["resume", r"C:\my runs\one", "it's", "$HOME", "a=b", "x;y"])
    assert line == r"resume 'C:\my runs\one' 'it''s' '$HOME' a=b 'x;y'"


def test_without_leave_to_look_at_other_programs_the_command_is_quoted_all_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def refused() -> Any:
        raise psutil.AccessDenied(1)

    monkeypatch.setattr(psutil, "Process", lambda: SimpleNamespace(parents=refused))
    assert WINDOWS.command_line(["a b"]) == '"a b"'


@pytest.mark.parametrize(
    ("error", "gone", "hung_up"),
    [
        (BrokenPipeError(errno.EPIPE, "Broken pipe"), True, False),
        (OSError(errno.EINVAL, "Invalid argument"), True, False),
        (OSError(errno.EINVAL, "Invalid argument", "x.toml"), False, False),
        (OSError(errno.EBADF, "Bad file descriptor"), False, True),
        (OSError(errno.ENOSPC, "No space left on device"), False, False),
    ],
    ids=["pipe", "reader", "file", "window", "disk"],
)
def test_windows_tells_a_reader_that_went_away_and_a_closed_window(error: OSError, gone: bool, hung_up: bool) -> None:
    """A write to a pipe that nobody reads is EINVAL there (python/cpython issues on writing to a closed pipe)."""
    assert (WINDOWS.is_reader_gone(error), WINDOWS.is_hung_up(error)) == (gone, hung_up)
