"""A process that dies at each write to a controller's port in turn."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from tests.support.bench import Bench
from tests.support.crashes import Crash


def dies_at(b: Bench[Any], point: int, *, arrives: bool) -> None:
    """The process is gone at its `point`-th write (from 0) from now, before or after the bytes are on the wire."""
    end = len(b.port.written) + point

    def on_write(data: bytes) -> None:
        if len(b.port.written) == end:
            if arrives:
                b.device.receive(data, b.clock.monotonic())
            b.port.pull_cable()  # nothing that is tried afterwards reaches the board
            raise Crash

    b.port.on_write = on_write


def deaths(begin: Callable[[], tuple[Bench[Any], Callable[[], object]]], *, arrives: bool) -> Iterator[Bench[Any]]:
    """A bench for each write at which the process may die during the act that `begin` prepares; a new process after."""
    for point in range(200):
        b, act = begin()
        dies_at(b, point, arrives=arrives)
        try:
            act()
        except Crash:
            died = True
        else:
            died = False
        b.port.on_write = lambda data: None
        b.port.lost = False
        b.run(2.0)
        if not died:
            assert point >= 4
            return
        yield b
    raise AssertionError("it never came to an end")
