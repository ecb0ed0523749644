"""Programs of somebody else's, on a POSIX system and on Windows: nothing of them is left; a line taken apart."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import psutil
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.windows import hook
from tests.support.windows import wanted as on_windows
from tests.support.windows.processes import arguments_of

LONG = "import time; time.sleep(600)"
PATIENCE_S = 20.0
WINDOWS = hook.SystemRoom().module("processes")


@pytest.fixture(params=[pytest.param("posix", marks=pytest.mark.posix("groups of processes")), "windows"])
def room(request: pytest.FixtureRequest) -> Any:
    if request.param == "windows" or on_windows():
        return WINDOWS
    from firmware_host.system import processes

    return processes


def python(code: str, *arguments: str) -> tuple[str, ...]:
    return (sys.executable, "-c", code, *arguments)


def text_in(path: Path) -> str:
    give_up_s = time.monotonic() + PATIENCE_S
    while not (path.exists() and path.read_text("utf-8").endswith("\n")):
        assert time.monotonic() < give_up_s, f"nothing was written to {path.name}"
        time.sleep(0)
    return path.read_text("utf-8").strip()


def gone(number: int) -> bool:
    give_up_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < give_up_s:
        try:
            if psutil.Process(number).status() == psutil.STATUS_ZOMBIE:
                return True
        except psutil.NoSuchProcess:
            return True
        time.sleep(0)
    return False


def test_a_program_is_told_what_it_needs_and_its_status_is_known(room: Any, tmp_path: Path) -> None:
    note = tmp_path / "note"
    code = "import os, sys; open(sys.argv[1], 'w').write(os.environ['TOLD'] + '\\n'); sys.exit(7)"
    program = room.Program(python(code, str(note)), {"TOLD": "to the program"})
    assert text_in(note) == "to the program"
    give_up_s = time.monotonic() + PATIENCE_S
    while program.status() is None:
        assert time.monotonic() < give_up_s
    assert program.status() == 7
    program.end(1.0)


@pytest.mark.parametrize("left_alone", [False, True], ids=["while-it-runs", "after-its-end"])
def test_whatever_a_program_has_started_is_ended_with_it(room: Any, tmp_path: Path, left_alone: bool) -> None:
    """Also a child of a child whose parent has gone, and one in a group of its own."""
    note = tmp_path / "note"
    inner = (
        "import subprocess, sys; p = subprocess.Popen([sys.executable, '-c', sys.argv[2]]);"
        "open(sys.argv[1], 'w').write(f'{p.pid}\\n')"
    )
    code = (
        "import subprocess, sys, time;"
        f"subprocess.run([sys.executable, '-c', {inner!r}, sys.argv[1], {LONG!r}]);"
        f"{'0' if left_alone else 'time.sleep(600)'}"
    )
    program = room.Program(python(code, str(note)), {})
    child = int(text_in(note))
    give_up_s = time.monotonic() + PATIENCE_S
    while left_alone and program.status() is None:
        assert time.monotonic() < give_up_s
    assert not psutil.Process(child).status() == psutil.STATUS_ZOMBIE
    program.end(2.0)
    assert gone(child)
    assert gone(program.pid)
    program.end(2.0)


def test_a_program_that_will_not_end_is_made_to(room: Any, tmp_path: Path) -> None:
    note = tmp_path / "note"
    code = (
        "import signal, sys, time;"
        "[signal.signal(n, signal.SIG_IGN) for n in (signal.SIGTERM, signal.SIGUSR1)];"
        "open(sys.argv[1], 'w').write('ready\\n'); time.sleep(600)"
    )
    program = room.Program(python(code, str(note)), {})
    text_in(note)
    program.end(0.05)
    assert gone(program.pid)


def test_a_program_that_does_not_exist_is_an_error(room: Any) -> None:
    with pytest.raises(OSError, match="No such file"):
        room.Program(["no-such-program-here"], {})


@pytest.mark.parametrize(
    ("line", "posix", "windows"),
    [
        ("mark it", ("mark", "it"), ("mark", "it")),
        ("'C:\\Tools\\mark.exe' now", ("C:\\Tools\\mark.exe", "now"), ("'C:\\Tools\\mark.exe'", "now")),
        (r"C:\Tools\mark.exe --now", ("C:Toolsmark.exe", "--now"), (r"C:\Tools\mark.exe", "--now")),
        (r'"C:\My Tools\mark.exe" a', ("C:\\My Tools\\mark.exe", "a"), (r"C:\My Tools\mark.exe", "a")),
        (r'x "a \"b\" c"', ("x", 'a "b" c'), ("x", 'a "b" c')),
        (r'x "dir\\" y', ("x", "dir\\", "y"), ("x", "dir\\", "y")),
        ('x ""', ("x", ""), ("x", "")),
        ("", (), ()),
    ],
    ids=[
        "plain",
        "single",
        "backslashes",
        "spaces",
        "marks-inside",
        "backslash-at-the-end",
        "empty-word",
        "empty",
    ],
)
def test_a_line_is_taken_apart_as_the_system_does(line: str, posix: tuple[str, ...], windows: tuple[str, ...]) -> None:
    assert WINDOWS.split_command(line) == windows
    if not on_windows():
        from firmware_host.system.processes import split_command

        assert split_command(line) == posix


def test_a_quotation_mark_without_its_partner_is_an_error(room: Any) -> None:
    with pytest.raises(ValueError, match=r"[Nn]o closing quotation"):
        room.split_command('mark "it')


@given(st.lists(st.text(st.characters(codec="ascii", exclude_characters="\0\r\n\v\f"), max_size=8), min_size=1))
def test_windows_takes_apart_what_was_put_together_for_it(words: list[str]) -> None:
    line = subprocess.list2cmdline(words)
    assert list(WINDOWS.split_command(line)) == words


@given(st.text(st.sampled_from('ab "\\\t'), max_size=20))
def test_windows_takes_a_line_apart_as_the_c_runtime_does(line: str) -> None:
    try:
        words = list(WINDOWS.split_command(line))
    except ValueError:
        line = f'{line}a"'
        words = list(WINDOWS.split_command(line))
    assert words == arguments_of(line)
