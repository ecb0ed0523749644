"""The person at a terminal: lines come one at a time, nothing waits, and what was typed too early is forgotten."""

import contextlib
import errno
import io
import os
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from firmware_host.errors import GateError
from firmware_host.station.operator import TerminalOperator


@pytest.fixture
def pipe() -> Iterator[tuple[int, TerminalOperator]]:
    read, write = os.pipe()
    with os.fdopen(read, encoding="utf-8") as source:
        operator = TerminalOperator(source, io.StringIO())
        yield write, operator
        with contextlib.suppress(OSError):  # closed by the test
            os.close(write)
        with contextlib.suppress(GateError):
            while True:  # to its end: a thread that still waited would read what comes at this number next
                next_answer(operator)


@pytest.fixture
def terminal() -> Iterator[tuple[int, TerminalOperator]]:
    """A pseudo-terminal that hands over one line for each read, as terminals do; no echo."""
    import termios

    master, slave = os.openpty()
    mode = termios.tcgetattr(slave)
    mode[3] &= ~termios.ECHO
    termios.tcsetattr(slave, termios.TCSANOW, mode)
    with os.fdopen(slave, encoding="utf-8") as source:
        yield master, TerminalOperator(source, io.StringIO())
    os.close(master)


def next_answer(operator: TerminalOperator) -> str:
    """What was typed, once it is here: where a thread reads, that takes its time."""
    give_up_s = time.monotonic() + 20.0
    while (answer := operator.answer()) is None:
        assert time.monotonic() < give_up_s, "no answer came"
        time.sleep(0)
    return answer


def test_nothing_typed_is_no_answer_and_does_not_wait(pipe: tuple[int, TerminalOperator]) -> None:
    assert pipe[1].answer() is None


def test_lines_come_one_by_one_however_they_arrive(pipe: tuple[int, TerminalOperator]) -> None:
    write, operator = pipe
    os.write(write, b"y")
    assert operator.answer() is None
    os.write(write, b"es \r\n\nsto")
    assert [next_answer(operator) for _ in range(2)] == ["yes", ""]
    assert operator.answer() is None
    os.write(write, b"p\n")
    assert next_answer(operator) == "stop"


def test_a_closed_input_says_that_nobody_can_answer_after_the_last_line(pipe: tuple[int, TerminalOperator]) -> None:
    write, operator = pipe
    os.write(write, b"y\n")
    os.close(write)
    assert next_answer(operator) == "y"
    with pytest.raises(GateError, match="nobody can answer: standard input is closed"):
        next_answer(operator)


def test_bytes_that_are_no_text_are_an_answer_like_any_other(pipe: tuple[int, TerminalOperator]) -> None:
    os.write(pipe[0], b"\xff\xfe\n")
    assert next_answer(pipe[1]) == "\ufffd\ufffd"


@pytest.mark.posix("a pseudo-terminal")
@pytest.mark.parametrize("typed", [b"\n", b"\n\n\n", b"s\nhalf a li"], ids=["one", "three", "line-and-half"])
def test_what_was_typed_before_is_forgotten_to_the_last_line(
    typed: bytes, terminal: tuple[int, TerminalOperator]
) -> None:
    master, operator = terminal
    os.write(master, typed)
    operator.forget()
    assert operator.answer() is None


def test_more_than_fits_one_read_is_forgotten_too(pipe: tuple[int, TerminalOperator]) -> None:
    write, operator = pipe
    os.write(write, b"\n" * 5000)
    operator.forget()
    assert operator.answer() is None


def test_forgetting_at_the_end_of_the_input_does_not_hang(pipe: tuple[int, TerminalOperator]) -> None:
    write, operator = pipe
    os.write(write, b"\n")
    os.close(write)
    operator.forget()
    with pytest.raises(GateError, match="nobody can answer"):
        next_answer(operator)


def test_an_endless_line_is_kept_only_in_part(pipe: tuple[int, TerminalOperator]) -> None:
    write, operator = pipe
    for _ in range(10):
        os.write(write, b"x" * 1000)
        assert operator.answer() is None
    os.write(write, b"\n")
    assert len(next_answer(operator)) < 1000


@pytest.mark.parametrize("source", [None, io.StringIO("y\n")], ids=["no-console", "stand-in"])
def test_without_a_console_nobody_can_answer(source: io.StringIO | None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", source)
    monkeypatch.setattr("firmware_host.system.keyboard._CATCH_UP_S", 20.0)  # however late the thread gets its turn
    operator = TerminalOperator()
    operator.forget()
    with pytest.raises(GateError, match="nobody can answer"):
        next_answer(operator)


@pytest.mark.posix("a terminal whose other end is gone")
def test_a_closed_terminal_is_nobody_there_and_any_other_error_is_told() -> None:
    """Reading a terminal whose other end is gone fails with EIO."""
    far, near = os.openpty()
    with os.fdopen(near, encoding="utf-8") as source:
        operator = TerminalOperator(source, io.StringIO())
        os.close(far)
        with pytest.raises(GateError, match="nobody can answer"):
            operator.answer()
    read, write = os.pipe()
    with os.fdopen(read, encoding="utf-8") as source, os.fdopen(write, "w", encoding="utf-8") as target:
        operator = TerminalOperator(source, target)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(os, "read", failing_with(errno.ENXIO))
            print("done", file=target, flush=True)
            with pytest.raises(OSError, match="No such device or address"):
                operator.answer()


@pytest.mark.parametrize("number", [errno.EIO, errno.ENOSPC], ids=["terminal closed", "disk full"])
def test_telling_somebody_who_is_gone_raises_nothing_and_any_other_error_is_told(number: int) -> None:
    target = io.StringIO()
    read, write = os.pipe()
    os.close(write)
    with os.fdopen(read, encoding="utf-8") as source, pytest.MonkeyPatch.context() as patch:
        operator = TerminalOperator(source, target)
        patch.setattr(target, "write", failing_with(number))
        if number == errno.EIO:
            operator.tell("mark now")
        else:
            with pytest.raises(OSError, match="No space left on device"):
                operator.tell("mark now")


def failing_with(number: int) -> Callable[..., Any]:
    def fail(*arguments: Any) -> Any:
        raise OSError(number, os.strerror(number))

    return fail
