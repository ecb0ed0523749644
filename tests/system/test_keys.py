"""Single keys come as they are pressed, under the same names on every system, and nobody waits for one."""

from __future__ import annotations

import contextlib
import io
import os
import signal
import sys
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from firmware_host.clock import VirtualClock
from tests.support.windows import hook
from tests.system.conftest import Topic

if sys.platform != "win32":
    import pty
    import termios

IN_BYTES = {
    "up": b"\x1b[A",
    "down": b"\x1b[B",
    "right": b"\x1b[C",
    "left": b"\x1b[D",
    "home": b"\x1b[H",
    "delete": b"\x1b[3~",
}
PRESSED = ["a", "1", "left", "\r", "right", " ", "\x1b", "up", "down", "\b", "home", "delete", "q", "\x01", "?", "H"]
NAMED = ["a", "1", "left", "enter", "right", "space", "escape", "up", "down", "backspace", "q", "?", "H"]

Press = Callable[..., None]


def all_of(keys: Any) -> list[str]:
    taken = []
    while (key := keys.take()) is not None:
        taken.append(key)
    return taken


@pytest.fixture
def terminal() -> Iterator[tuple[int, Any]]:
    """Where a person presses keys, and the stream that a program reads."""
    master, slave = pty.openpty()
    with os.fdopen(slave, encoding="utf-8") as stream:
        yield master, stream
    os.close(master)


@pytest.fixture
def at_terminal(
    system: Topic, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[Press, Any]]:
    """How keys are pressed, and the keys that the program has; on either system."""
    if system("keys").pressed_at.__module__.endswith("windows.keys"):
        console: Any = hook.module("msvcrt").console  # type: ignore[attr-defined]
        with system("keys").pressed_at(0) as keys:
            yield console.press, keys
            all_of(keys)
        return
    clock = VirtualClock()
    sent: list[bytes] = []

    def press(*keys: str, first: bytes = b"\x1b[") -> None:
        sent.extend(IN_BYTES.get(key, key.encode()) for key in keys)

    def take() -> bytes | None:
        clock.sleep(0.1)
        return sent.pop(0) if sent else None

    yield press, system("posix.keys").TerminalKeys(take, clock)


def test_each_key_has_the_same_name_on_every_system(at_terminal: tuple[Press, Any]) -> None:
    press, keys = at_terminal
    assert keys.take() is None
    press(*PRESSED)
    assert [key for _ in range(2 * len(PRESSED)) if (key := keys.take())] == NAMED
    assert keys.take() is None
    assert not keys.ended


def test_what_was_pressed_too_early_is_forgotten(at_terminal: tuple[Press, Any]) -> None:
    press, keys = at_terminal
    press("left")
    keys.forget()
    assert keys.take() is None
    press("x")
    assert keys.take() == "x"


@pytest.mark.parametrize("stream", [None, io.StringIO("abc")], ids=["none", "no-terminal"])
def test_nobody_presses_keys_where_there_is_no_terminal(stream: Any, system: Topic) -> None:
    with system("keys").single_keys(stream) as keys:
        assert keys is None


def test_nobody_presses_keys_at_a_pipe(system: Topic) -> None:
    reading, writing = os.pipe()
    os.close(writing)
    with os.fdopen(reading, encoding="utf-8") as stream, system("keys").single_keys(stream) as keys:
        assert keys is None


@pytest.mark.posix("a pseudo-terminal")
def test_keys_at_a_terminal_are_not_shown_and_it_is_left_as_it_was(terminal: tuple[int, Any]) -> None:
    from firmware_host.system.keys import single_keys

    master, stream = terminal
    before = termios.tcgetattr(stream)
    with contextlib.suppress(ZeroDivisionError), single_keys(stream) as keys:
        assert keys is not None
        os.write(master, b"g\r\x1b[D\x1bOC\x1b[1;5Ax\xc3\xa4\x16")
        assert all_of(keys) == ["g", "enter", "left", "right", "up", "x", "\u00e4"]
        assert not termios.tcgetattr(stream)[3] & (termios.ECHO | termios.ICANON)
        assert termios.tcgetattr(stream)[3] & termios.ISIG
        assert termios.tcgetattr(stream)[6][termios.VSUSP] == b"\x00"
        _ = 1 / 0
    assert termios.tcgetattr(stream) == before
    os.set_blocking(master, False)
    with pytest.raises(BlockingIOError, match="unavailable"):
        os.read(master, 100)  # nothing was shown


@pytest.mark.posix("a pseudo-terminal")
def test_a_terminal_that_is_closed_has_no_more_keys(terminal: tuple[int, Any]) -> None:
    from firmware_host.system.keys import single_keys

    master, stream = terminal
    with single_keys(stream) as keys:
        assert keys is not None
        os.dup2(os.open(os.devnull, os.O_RDWR), master)
        assert keys.take() is None
        assert keys.ended


class Bytes:
    """What a terminal sends, in pieces with time between them."""

    def __init__(self) -> None:
        self.clock = VirtualClock()
        self._come: bytes | None = None

    def keys(self) -> Any:
        from firmware_host.system.posix.keys import TerminalKeys

        return TerminalKeys(self._take, self.clock)

    def _take(self) -> bytes | None:
        come, self._come = self._come, None
        return come

    def come(self, piece: bytes, after_s: float = 0.0) -> None:
        self.clock.sleep(after_s)
        self._come = piece


@pytest.mark.posix("sequences of bytes")
@pytest.mark.parametrize("cut", [1, 2, 3, 4, 5])
def test_a_sequence_that_comes_in_two_pieces_is_one_key(cut: int) -> None:
    sent, sequence = Bytes(), b"\x1b[1;5C"
    keys = sent.keys()
    sent.come(sequence[:cut])
    assert keys.take() is None
    sent.come(sequence[cut:], after_s=0.04)
    assert all_of(keys) == ["right"]


@pytest.mark.posix("sequences of bytes")
def test_escape_alone_is_known_when_nothing_follows() -> None:
    sent = Bytes()
    keys = sent.keys()
    sent.come(b"\x1b")
    assert keys.take() is None
    sent.clock.sleep(0.049)
    assert keys.take() is None
    sent.clock.sleep(0.002)
    assert all_of(keys) == ["escape"]
    sent.come(b"\x1bq")  # pressed with Alt, or quickly one after the other
    assert all_of(keys) == ["escape", "q"]
    sent.come(b"\x1b\x1b[D")
    assert all_of(keys) == ["escape", "left"]


@pytest.mark.posix("sequences of bytes")
def test_a_sequence_without_its_end_is_an_escape() -> None:
    sent = Bytes()
    keys = sent.keys()
    sent.come(b"\x1b[1")
    assert keys.take() is None
    sent.clock.sleep(0.06)
    assert all_of(keys) == ["escape"]


@pytest.mark.posix("sequences of bytes")
def test_a_sign_that_comes_byte_by_byte_is_one_key_and_a_broken_one_is_none() -> None:
    sent = Bytes()
    keys = sent.keys()
    taken = []
    for byte in "\u20ac".encode():
        sent.come(bytes([byte]))
        taken += all_of(keys)
    assert taken == ["\u20ac"]
    sent.come(b"\xff\xfea")
    assert all_of(keys) == ["a"]


def test_ctrl_c_while_a_key_is_read_interrupts_at_the_console_of_windows(on_windows: Topic) -> None:
    console: Any = hook.module("msvcrt").console  # type: ignore[attr-defined]
    heard: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, frame: heard.append(number))
    try:
        with on_windows("keys").pressed_at(0) as keys:
            console.press("a", "\x03", "b")
            assert all_of(keys) == ["a", "b"]
    finally:
        signal.signal(signal.SIGINT, before)
    assert heard == [signal.SIGINT]


def test_a_letter_with_the_code_that_begins_two_is_not_half_a_key_on_windows(on_windows: Topic) -> None:
    console: Any = hook.module("msvcrt").console  # type: ignore[attr-defined]
    with on_windows("keys").pressed_at(0) as keys:
        console.press("\u00e0")
        assert keys.take() is None
        console.press("left", first=b"\x00")
        console.press("x")
        assert all_of(keys) == ["left", "x"]


def test_of_two_codes_the_console_shows_the_second_only_to_who_read_the_first() -> None:
    console: Any = hook.module("msvcrt").console  # type: ignore[attr-defined]
    console.press("up")
    assert console.getwch() == "\u00e0"
    assert not console.kbhit()
    assert console.getwch() == "H"
    console.press("up")
    assert console.getch() == b"\xe0"
    assert console.kbhit()
    assert console.getch() == b"H"
    with pytest.raises(RuntimeError, match="nobody is there"):
        console.getch()
