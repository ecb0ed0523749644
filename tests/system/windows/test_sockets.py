"""How sockets behave there and not here."""

from __future__ import annotations

import errno
import os
import select as real_select
import socket as real
from collections.abc import Iterator
from contextlib import ExitStack
from typing import Any

import pytest

from tests.support.windows import hook

socket: Any = hook.module("socket")
select: Any = hook.module("select")
selectors: Any = hook.module("selectors")


@pytest.fixture
def pipe() -> Iterator[int]:
    reading, writing = os.pipe()
    yield reading
    os.close(reading)
    os.close(writing)


def bound(stack: ExitStack, option: str, port: int = 0) -> Any:
    made = stack.enter_context(socket.socket())
    if option:
        made.setsockopt(socket.SOL_SOCKET, getattr(socket, option), 1)
    made.bind(("127.0.0.1", port))
    made.listen()
    return made


@pytest.mark.parametrize(
    ("first", "second", "refused"),
    [
        ("", "", 10048),
        ("", "SO_REUSEADDR", 10013),
        ("SO_REUSEADDR", "", 10048),
        ("SO_REUSEADDR", "SO_REUSEADDR", None),
        ("SO_EXCLUSIVEADDRUSE", "", 10048),
        ("SO_EXCLUSIVEADDRUSE", "SO_REUSEADDR", 10013),
        ("SO_EXCLUSIVEADDRUSE", "SO_EXCLUSIVEADDRUSE", 10048),
    ],
)
def test_who_may_bind_an_address_that_is_bound(first: str, second: str, refused: int | None) -> None:
    """Microsoft, "Using SO_REUSEADDR and SO_EXCLUSIVEADDRUSE": the table, both sockets on the same address."""
    with ExitStack() as stack:
        port = bound(stack, first).getsockname()[1]
        if refused is None:
            bound(stack, second, port)
            return
        with pytest.raises(OSError, match=r"only|forbidden|Only") as caught:
            bound(stack, second, port)
        assert caught.value.winerror == refused  # type: ignore[attr-defined]


def test_both_options_on_one_socket_are_refused() -> None:
    with socket.socket() as made:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        assert made.getsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE) == 1
        with pytest.raises(OSError, match="An invalid argument was supplied"):
            made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)


def test_a_server_made_by_the_library_does_not_share_its_address() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server, ExitStack() as stack:
        with pytest.raises(OSError, match="Only one usage"):
            bound(stack, "", server.getsockname()[1])
        with real.create_connection(server.getsockname()) as caller:
            taken, address = server.accept()
            taken.close()
            assert address == caller.getsockname()


def test_only_sockets_can_be_selected(pipe: int) -> None:
    near, far = real.socketpair()
    with near, far:
        far.send(b"x")
        assert select.select([near], [], [], 0) == ([near], [], [])
        assert real_select.select([near, pipe], [], [], 0)[0] == [near]
        with pytest.raises(OSError, match="not a socket") as caught:
            select.select([near, pipe], [], [], 0)
        assert (caught.value.errno, caught.value.winerror) == (errno.ENOTSOCK, 10038)  # type: ignore[attr-defined]


def test_to_wait_for_nothing_is_refused() -> None:
    with pytest.raises(OSError, match="An invalid argument was supplied"):
        select.select([], [], [], 0)


def test_a_selector_takes_sockets_only(pipe: int) -> None:
    near, far = real.socketpair()
    with near, far, selectors.DefaultSelector() as selector:
        selector.register(near, selectors.EVENT_READ)
        far.send(b"x")
        assert [key.fileobj for key, _ in selector.select(0)] == [near]
        selector.register(pipe, selectors.EVENT_READ)
        with pytest.raises(OSError, match="not a socket"):
            selector.select(0)
