"""What is typed comes line by line and nobody waits for it; on either system."""

from __future__ import annotations

import contextlib
import io
import os
import time
from collections.abc import Iterator
from typing import Any

import pytest

from tests.system.conftest import Topic

PATIENCE_S = 30.0


@pytest.fixture
def typing(system: Topic) -> Iterator[tuple[int, Any]]:
    """Where to type, and the keyboard."""
    reading, writing = os.pipe()
    with os.fdopen(reading, encoding="utf-8") as source:
        keyboard = system("keyboard").keyboard_at(source)
        yield writing, keyboard
        with contextlib.suppress(OSError):  # closed by the test
            os.close(writing)
        while not keyboard.ended:  # to its end: a thread that still waited would read what comes at this number next
            line_of(keyboard)


def line_of(keyboard: Any) -> str | None:
    """The next line, once it is here; None at the end."""
    give_up_s = time.monotonic() + PATIENCE_S
    while (line := keyboard.line()) is None and not keyboard.ended:
        assert time.monotonic() < give_up_s, "no line came"
        time.sleep(0.001)
    return line  # type: ignore[no-any-return]


def test_lines_come_whole_and_one_by_one(typing: tuple[int, Any]) -> None:
    to, keyboard = typing
    assert keyboard.line() is None
    os.write(to, "y\r\nja\u00e4\n\nha".encode())
    assert [line_of(keyboard) for _ in range(3)] == ["y", "ja\u00e4", ""]
    assert keyboard.line() is None
    os.write(to, b"lf\n")
    assert line_of(keyboard) == "half"


def test_the_end_is_known_once_the_last_line_was_taken(typing: tuple[int, Any]) -> None:
    to, keyboard = typing
    os.write(to, b"last\n")
    os.close(to)
    assert line_of(keyboard) == "last"
    assert line_of(keyboard) is None
    assert keyboard.ended


def test_what_was_typed_too_early_is_forgotten(typing: tuple[int, Any]) -> None:
    to, keyboard = typing
    os.write(to, b"early\nearlier\nhal")
    assert line_of(keyboard) == "early"
    keyboard.forget()
    os.write(to, b"now\n")
    assert line_of(keyboard) == "now"


def test_there_is_one_keyboard_for_each_stream(system: Topic) -> None:
    room = system("keyboard")
    with io.StringIO("typed\n") as source:
        assert room.keyboard_at(source) is room.keyboard_at(source)
        assert line_of(room.keyboard_at(source)) == "typed"
    assert room.keyboard_at(None).line() is None
    assert room.keyboard_at(None).ended
