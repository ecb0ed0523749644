"""Sockets of this computer that nobody else can take over; on either system."""

from __future__ import annotations

import select
import socket
from collections.abc import Iterator
from contextlib import ExitStack
from typing import Any

import pytest

from tests.support.windows import hook
from tests.system.conftest import Topic

there: Any = hook.module("socket")


@pytest.fixture
def stack() -> Iterator[ExitStack]:
    with ExitStack() as stack:
        yield stack


def test_a_caller_is_taken_and_the_address_is_free_again_at_once(system: Topic, stack: ExitStack) -> None:
    sockets = system("sockets")
    port = 0
    for _ in range(3):
        listener = stack.enter_context(sockets.listen(port, callers=1))
        address = listener.getsockname()
        port = address[1]
        with socket.create_connection(address) as caller:
            select.select([listener], [], [], 10.0)
            taken, _ = listener.accept()
            taken.close()
            assert caller.recv(1) == b""
        listener.close()


def test_an_address_that_is_listened_at_is_refused(system: Topic, stack: ExitStack) -> None:
    sockets = system("sockets")
    listener = stack.enter_context(sockets.listen(0, callers=1))
    with pytest.raises(OSError, match=r"Only one usage|already in use"):
        sockets.listen(listener.getsockname()[1], callers=1)


def test_on_windows_nobody_takes_over_an_address_by_wanting_to_reuse_it(on_windows: Topic, stack: ExitStack) -> None:
    listener = stack.enter_context(on_windows("sockets").listen(0, callers=1))
    other = stack.enter_context(there.socket())
    other.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    with pytest.raises(PermissionError, match="forbidden by its access permissions"):
        other.bind(listener.getsockname())


def test_a_byte_into_one_end_wakes_whoever_waits_for_the_other(system: Topic, stack: ExitStack) -> None:
    ear, bell = map(stack.enter_context, system("sockets").wake_pair())
    bell.send(b"w")
    assert select.select([ear], [], [], 10.0)[0] == [ear]
    ear.recv(10)
    with pytest.raises(BlockingIOError, match="unavailable"):
        ear.recv(10)
