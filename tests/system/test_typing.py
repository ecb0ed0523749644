"""A keyboard never waits, loses nothing between two who ask, and keeps little of what nobody asks for."""

from __future__ import annotations

import contextlib
import io
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from typing import Any, TextIO

import pytest

from tests.cli.command import ROOT
from tests.support.windows import hook
from tests.support.windows import wanted as on_windows

PATIENCE_S = 20.0


@pytest.fixture(params=["posix", "windows"])
def room(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Any:
    if request.param == "windows" or on_windows():
        made = hook.SystemRoom().module("keyboard")
    else:
        from firmware_host.system import keyboard as made
    return made


@pytest.fixture
def pipe(room: Any) -> Iterator[tuple[int, TextIO]]:
    read, write = os.pipe()
    with os.fdopen(read, encoding="utf-8") as source:
        yield write, source
        with contextlib.suppress(OSError):  # closed by the test
            os.close(write)
        while not room.keyboard_at(source).ended:
            next_line(room.keyboard_at(source))  # a thread that still waited would read what comes at this number next


def next_line(keyboard: Any) -> str | None:
    """What was typed, once it is here; None at the end."""
    give_up_s = time.monotonic() + PATIENCE_S
    while (line := keyboard.line()) is None and not keyboard.ended:
        assert time.monotonic() < give_up_s, "nothing came"
        time.sleep(0)
    return None if line is None else str(line)


def test_lines_come_in_order_and_the_end_after_the_last(room: Any, pipe: tuple[int, TextIO]) -> None:
    write, source = pipe
    keyboard = room.keyboard_at(source)
    assert keyboard.line() is None
    os.write(write, b"y")
    os.write(write, b"es \r\n\nno\nhalf")
    os.close(write)
    assert [next_line(keyboard) for _ in range(4)] == ["yes", "", "no", None]
    assert keyboard.ended


def test_nothing_is_lost_between_two_who_ask_at_one_stream(room: Any, pipe: tuple[int, TextIO]) -> None:
    write, source = pipe
    os.write(write, b"one\ntwo\n")
    assert next_line(room.keyboard_at(source)) == "one"
    assert next_line(room.keyboard_at(source)) == "two"


def test_what_was_typed_is_forgotten_and_what_comes_later_is_not(
    room: Any, pipe: tuple[int, TextIO], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, "_CATCH_UP_S", 0.2)  # however late the thread gets its turn
    write, source = pipe
    keyboard = room.keyboard_at(source)
    os.write(write, b"y\n\nhalf a li")
    keyboard.forget()
    assert keyboard.line() is None
    os.write(write, b"n\n")
    assert next_line(keyboard) == "n"


def test_a_pipe_that_never_runs_dry_takes_little_memory_and_hangs_nobody(room: Any) -> None:
    code = "import sys\nwhile True: sys.stdout.write('y' * 5000 + '\\n' * 5000)"
    endless = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, encoding="utf-8")
    assert endless.stdout is not None
    try:
        keyboard = room.keyboard_at(endless.stdout)
        for _ in range(300):
            keyboard.forget()
            assert next_line(keyboard) is not None
        kept = len(keyboard._typed)
        if hasattr(keyboard._reader, "_pieces"):
            kept += sum(len(piece) for piece in keyboard._reader._pieces.queue)
        assert kept <= 20 * room.LONGEST_LINE
    finally:
        endless.kill()
        endless.wait()
        while next_line(keyboard) is not None:
            keyboard.forget()
        endless.stdout.close()


def test_a_stand_in_that_is_no_file_can_be_typed_at(room: Any) -> None:
    keyboard = room.keyboard_at(io.StringIO("yes\n\nlast\n"))
    assert [next_line(keyboard) for _ in range(4)] == ["yes", "", "last", None]


@pytest.mark.parametrize("missing", [True, False], ids=["none", "closed"])
def test_nobody_types_at_a_stream_that_is_not_there(room: Any, missing: bool) -> None:
    closed = io.StringIO()
    closed.close()
    keyboard = room.keyboard_at(None if missing else closed)
    keyboard.forget()
    assert keyboard.line() is None
    assert keyboard.ended
    assert not room.is_terminal(None if missing else closed)


@pytest.mark.posix("what nobody asks for is left in the stream")
def test_what_nobody_asks_for_is_left_for_whoever_reads_next(pipe: tuple[int, TextIO]) -> None:
    from firmware_host.system.keyboard import keyboard_at

    write, source = pipe
    keyboard_at(source).forget()
    os.write(write, b"for somebody else\n")
    assert source.readline() == "for somebody else\n"


@pytest.mark.parametrize("told", [b"", b"y\n"], ids=["silent", "typed-at"])
def test_a_program_that_asked_ends_though_its_input_stays_open(told: bytes) -> None:
    """The thread that reads must not hold the program up, nor bring it down at its end."""
    code = (
        "import sys; from tests.support.windows import hook; room = hook.SystemRoom().module('keyboard');"
        "keyboard = room.keyboard_at(sys.stdin); keyboard.forget(); print(keyboard.line())"
    )
    read, write = os.pipe()
    os.write(write, told)
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code],
        stdin=read,
        capture_output=True,
        timeout=PATIENCE_S,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    os.close(read)
    os.close(write)
    assert (done.returncode, done.stderr) == (0, b"")
