"""Somebody else's program is run to its end, with all that it starts; on either system."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import psutil
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.windows.hook import SystemRoom
from tests.support.windows.processes import arguments_of
from tests.system.conftest import Topic

PATIENCE_S = 30.0
LONG = "import time; time.sleep(600)"
DEAF = f"import signal; [signal.signal(n, signal.SIG_IGN) for n in (15, 10)]; {LONG}"


def until(what: Callable[[], bool]) -> None:
    give_up_s = time.monotonic() + PATIENCE_S
    while not what():
        assert time.monotonic() < give_up_s, "it did not come to pass"
        time.sleep(0.01)


def python(code: str, *arguments: str) -> tuple[str, ...]:
    return (sys.executable, "-c", code, *arguments)


def told(path: Path) -> str:
    until(lambda: path.exists() and path.read_text("utf-8").endswith("\n"))
    return path.read_text("utf-8").strip()


def running(pid: int) -> bool:
    try:
        return psutil.Process(pid).status() != psutil.STATUS_ZOMBIE
    except psutil.NoSuchProcess:
        return False


def test_a_program_is_told_what_it_needs_and_its_status_is_known(system: Topic, tmp_path: Path) -> None:
    code = "import os, sys; open(sys.argv[1], 'w').write(os.environ['SEGMENT'] + sys.argv[2] + '\\n'); sys.exit(3)"
    program = system("processes").Program(python(code, str(tmp_path / "told"), r' C:\a "b" $c'), {"SEGMENT": "7"})
    until(lambda: program.status() is not None)
    program.end(0.0)
    assert program.status() == 3
    assert told(tmp_path / "told") == r'7 C:\a "b" $c'


def test_a_program_that_is_not_there_is_an_error_of_the_system(system: Topic) -> None:
    with pytest.raises(OSError, match="no-such-program"):
        system("processes").Program(("no-such-program",), {})


@pytest.mark.parametrize("own", [LONG, DEAF, ""], ids=["hears", "deaf", "over"])
@pytest.mark.parametrize("child", [LONG, DEAF], ids=["child hears", "child is deaf"])
def test_nothing_of_a_program_is_left_when_it_was_ended(own: str, child: str, system: Topic, tmp_path: Path) -> None:
    """A child and a child of it, whose own parent has gone."""
    path = tmp_path / "told"
    start = "import subprocess, sys; start = lambda code: subprocess.Popen([sys.executable, '-c', code]); "
    note = f"open({str(path)!r}, 'a').write(str(start({child!r}).pid) + ' ')"
    middle = f"{start}{note}"
    code = f"{start}{note}; start({middle!r}).wait(); open({str(path)!r}, 'a').write('\\n'); {own}"
    program = system("processes").Program(python(code), {})
    children = [int(number) for number in told(path).split()]
    assert len(children) == 2
    if not own:
        until(lambda: program.status() is not None)
    assert all(map(running, children))
    program.end(0.5)
    program.end(0.5)
    until(lambda: not any(map(running, [program.pid, *children])))


def test_the_end_is_asked_for_before_it_is_made(system: Topic, tmp_path: Path) -> None:
    code = (
        f"import signal, sys; note = lambda *_: (open({str(tmp_path / 'told')!r}, 'a').write('asked\\n'), sys.exit());"
        f"[signal.signal(n, note) for n in (15, 10)]; open({str(tmp_path / 'up')!r}, 'w').write('up\\n'); {LONG}"
    )
    program = system("processes").Program(python(code), {})
    assert told(tmp_path / "up") == "up"
    program.end(PATIENCE_S)
    assert told(tmp_path / "told") == "asked"


def test_a_command_with_a_quotation_mark_too_few_is_refused(system: Topic) -> None:
    with pytest.raises(ValueError, match="quotation"):
        system("processes").split_command('mark "one')


@given(st.lists(st.text(st.sampled_from("\\\" ab'"), min_size=1)))
def test_on_windows_a_line_is_taken_apart_as_programs_there_do(words: list[str]) -> None:
    split = SystemRoom().module("processes").split_command
    line = subprocess.list2cmdline(words)
    assert list(split(line)) == words == arguments_of(line)


def test_on_windows_a_backslash_is_a_letter(on_windows: Topic) -> None:
    assert on_windows("processes").split_command(r'C:\laser\mark.exe "D:\my jobs\\" x') == (
        r"C:\laser\mark.exe",
        "D:\\my jobs\\",
        "x",
    )
