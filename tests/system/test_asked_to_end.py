"""Whoever asks the program to end is heard, on a POSIX system and on Windows, and what was there before comes back."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from typing import Any

import pytest

from tests.cli.command import PATIENCE_S, ROOT
from tests.support.windows import hook, signals
from tests.support.windows import wanted as on_windows


@pytest.fixture(params=[pytest.param("posix", marks=pytest.mark.posix("its own signals")), "windows"])
def room(request: pytest.FixtureRequest) -> Iterator[Any]:
    """The file on this system and on Windows; the signals are afterwards as they were."""
    numbers = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signals.BREAK_HERE]
    before = {number: signal.getsignal(number) for number in numbers}
    for number in numbers:
        signal.signal(number, signal.default_int_handler if number == signal.SIGINT else signal.SIG_DFL)
    if request.param == "windows" or on_windows():
        yield hook.SystemRoom().module("signals")
    else:
        from firmware_host.system import signals as here

        yield here
    for number, handler in before.items():
        signal.signal(number, handler)


def send(room: Any, number: int) -> None:
    room.signal.raise_signal(number)


def test_each_signal_that_asks_for_an_end_has_its_words(room: Any) -> None:
    heard: list[str] = []
    with room.asked_to_end(heard.append):
        for number in room.ENDING:
            send(room, number)
            send(room, number)
    assert heard == [words for words in room.ENDING.values() for _ in range(2)]
    assert {"Ctrl-C", "terminated"} < set(room.ENDING.values())
    assert len(room.ENDING) == 3


def test_what_was_there_before_is_there_again(room: Any) -> None:
    before = [room.signal.getsignal(number) for number in room.ENDING]
    with room.asked_to_end(len):
        assert not set(before) & {room.signal.getsignal(number) for number in room.ENDING}
    assert [room.signal.getsignal(number) for number in room.ENDING] == before


def test_the_program_is_interrupted_by_each_of_them_once_it_asked_for_that(room: Any) -> None:
    room.interrupt_when_asked()
    for number in room.ENDING:
        with pytest.raises(KeyboardInterrupt, match=r"^$"):
            send(room, number)


def test_a_signal_that_whoever_started_the_program_has_ignored_stays_ignored(room: Any) -> None:
    room.signal.signal(room.signal.SIGTERM, room.signal.SIG_IGN)
    room.interrupt_when_asked()
    assert room.signal.getsignal(room.signal.SIGTERM) is room.signal.SIG_IGN


def test_windows_has_ctrl_break_and_no_closed_terminal() -> None:
    words = set(hook.SystemRoom().module("signals").ENDING.values())
    assert words == {"Ctrl-C", "terminated", "Ctrl-Break, or the window was closed"}


def test_a_command_runs_where_python_knows_no_sighup() -> None:
    code = "import signal; del signal.SIGHUP; from firmware_host.cli.main import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", code, "profile", "list"],
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=PATIENCE_S,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert "belt-chuck" in done.stdout
