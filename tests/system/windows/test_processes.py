"""How processes and signals behave there and not here."""

from __future__ import annotations

import signal as real_signal
import subprocess as real
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.windows import hook
from tests.support.windows.processes import STATUS_CONTROL_C_EXIT, arguments_of

signal: Any = hook.module("signal")
subprocess: Any = hook.module("subprocess")
windows: Any = hook.module("os")
WAIT_S = 30.0
LONG = "print('up', flush=True); input()"
BREAKABLE = f"import signal; signal.signal(signal.{real_signal.SIGUSR1.name}, lambda *_: exit(7)); {LONG}"


@pytest.fixture
def handlers() -> Iterator[None]:
    before = {number: real_signal.getsignal(number) for number in (real_signal.SIGUSR1, real_signal.SIGTERM)}
    yield
    for number, handler in before.items():
        real_signal.signal(number, handler)


def started(code: str, **options: Any) -> Any:
    pipes = {"stdin": real.PIPE, "stdout": real.PIPE, "text": True}
    return subprocess.Popen([sys.executable, "-c", code], **pipes, **options)


def status_after(end: Any, code: str = LONG, **options: Any) -> int:
    with started(code, **options) as process:
        assert process.stdout.readline() == "up\n"
        end(process)
        return int(process.wait(WAIT_S))


def test_there_are_seven_signals_and_every_other_number_is_refused() -> None:
    assert {number.name for number in signal.valid_signals()} == {
        "SIGINT", "SIGILL", "SIGFPE", "SIGSEGV", "SIGTERM", "SIGBREAK", "SIGABRT",
    }  # fmt: skip
    assert not hasattr(signal, "SIGHUP")
    for number in (1, 9, 17, 23):
        with pytest.raises(ValueError, match="invalid signal value"):
            signal.signal(number, signal.SIG_IGN)
        with pytest.raises(ValueError, match="invalid signal value"):
            signal.getsignal(number)


def test_a_break_comes_with_its_own_number_and_its_handler_is_told_as_it_was_set(handlers: None) -> None:
    came: list[int] = []

    def handler(number: int, frame: object) -> None:
        came.append(number)

    assert signal.signal(signal.SIGBREAK, handler) == signal.SIG_DFL
    assert signal.getsignal(signal.SIGBREAK) is handler
    signal.raise_signal(signal.SIGBREAK)
    assert came == [21]
    assert signal.signal(signal.SIGBREAK, signal.SIG_DFL) is handler


@pytest.mark.parametrize("way", ["terminate", "kill"])
def test_ending_a_process_is_sudden_and_its_status_is_one(way: str) -> None:
    deaf = f"import signal; signal.signal(signal.SIGTERM, signal.SIG_IGN); {LONG}"
    assert status_after(lambda process: getattr(process, way)(), deaf) == 1


def test_a_number_that_is_no_event_ends_the_process_with_it_as_its_status() -> None:
    assert status_after(lambda process: windows.kill(process.pid, 9)) == 9
    assert status_after(lambda process: process.send_signal(signal.SIGTERM)) == 1


def test_no_other_signal_can_be_sent() -> None:
    with started(LONG) as process:
        with pytest.raises(ValueError, match="Unsupported signal: 9"):
            process.send_signal(9)
        process.communicate("\n")


def test_a_break_reaches_a_group_of_its_own_and_no_other() -> None:
    group = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    assert status_after(lambda process: process.send_signal(signal.CTRL_BREAK_EVENT), BREAKABLE, **group) == 7
    deaf = status_after(lambda process: process.send_signal(signal.CTRL_BREAK_EVENT), LONG, **group)
    assert deaf == STATUS_CONTROL_C_EXIT
    with started(LONG) as process:
        with pytest.raises(OSError, match="The parameter is incorrect"):
            process.send_signal(signal.CTRL_BREAK_EVENT)
        process.communicate("\n")


def test_a_group_of_its_own_hears_no_ctrl_c() -> None:
    def end(process: Any) -> None:
        process.send_signal(signal.CTRL_C_EVENT)
        process.communicate("\n")

    assert status_after(end, creationflags=subprocess.CREATE_NEW_PROCESS_GROUP) == 0


def test_a_new_session_is_taken_and_nothing_comes_of_it() -> None:
    code = "import os; print(os.getsid(0))"
    sessions = {started(code, start_new_session=new).communicate()[0] for new in (False, True)}
    assert len(sessions) == 1


@pytest.mark.parametrize(
    ("option", "told"),
    [
        ({"preexec_fn": print}, "preexec_fn is not supported on Windows platforms"),
        ({"pass_fds": (1,)}, "pass_fds not supported on Windows"),
    ],
    ids=["preexec", "descriptors"],
)
def test_what_only_posix_can_do_for_a_child_is_refused(option: dict[str, Any], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        started(LONG, **option)


@pytest.mark.parametrize(
    ("line", "arguments"),
    [
        (r'"a b c" d e', ["a b c", "d", "e"]),
        (r'"ab\"c" "\\" d', ['ab"c', "\\", "d"]),
        (r'a\\\b d"e f"g h', [r"a\\\b", "de fg", "h"]),
        (r"a\\\"b c d", [r"a\"b", "c", "d"]),
        (r'a\\\\"b c" d e', [r"a\\b c", "d", "e"]),
        (r'a"b"" c d', ['ab" c d']),
        (r"C:\jobs\new.exe 'one two'", [r"C:\jobs\new.exe", "'one", "two'"]),
    ],
)
def test_a_command_line_is_taken_apart_as_the_c_runtime_does(line: str, arguments: list[str]) -> None:
    """The first six: Microsoft, "Parsing C command-line arguments", the table of examples."""
    assert arguments_of(line) == arguments


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0")), min_size=1))
def test_a_list_of_arguments_arrives_as_it_is(arguments: list[str]) -> None:
    assert arguments_of(real.list2cmdline(arguments)) == arguments


def test_a_whole_command_line_may_be_handed_over() -> None:
    line = f'"{sys.executable}" -c "import sys; print(sys.argv[1:])" C:\\jobs\\one "two words"'
    assert subprocess.run(line, stdout=real.PIPE, text=True).stdout == "['C:\\\\jobs\\\\one', 'two words']\n"
    assert subprocess.check_output(line, text=True) == "['C:\\\\jobs\\\\one', 'two words']\n"


def test_a_script_is_no_program(tmp_path: Path) -> None:
    (tmp_path / "mark").write_text("#!/bin/sh\n")
    (tmp_path / "mark").chmod(0o755)
    with pytest.raises(OSError, match="is not a valid Win32 application"):
        subprocess.run([str(tmp_path / "mark")])
