"""Sockets of this computer: nobody else takes over one that listens, and a waiting thread is woken."""

from __future__ import annotations

import socket
from typing import Any

import pytest

from tests.support.windows import hook
from tests.support.windows import wanted as on_windows


@pytest.fixture(params=["posix", "windows"])
def room(request: pytest.FixtureRequest) -> Any:
    if request.param == "windows" or on_windows():
        return hook.SystemRoom().module("sockets")
    from firmware_host.system import sockets

    return sockets


def test_nobody_else_listens_where_somebody_does(room: Any) -> None:
    with room.listen(0, callers=2) as first:
        port = first.getsockname()[1]
        with pytest.raises(OSError, match=r"[Aa]ddress"):
            room.listen(port, callers=2)


def test_one_that_asks_to_share_the_address_is_kept_out_too(room: Any) -> None:
    with room.listen(0, callers=2) as first, room.socket.socket() as thief:
        thief.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        with pytest.raises(OSError, match=r"[Aa]ddress|forbidden"):
            thief.bind(first.getsockname())


def test_a_port_can_be_listened_at_again_just_after_a_connection_was_closed(room: Any) -> None:
    with room.listen(0, callers=2) as first:
        port = first.getsockname()[1]
        with socket.create_connection(("127.0.0.1", port), timeout=5.0) as caller:
            room.wait([first], timeout_s=5.0)
            answered, _ = first.accept()
            answered.close()
            assert caller.recv(1) == b""
    with room.listen(port, callers=2) as again:
        assert again.getsockname() == ("127.0.0.1", port)


def test_one_that_listens_never_waits(room: Any) -> None:
    with room.listen(0, callers=2) as listener, pytest.raises(BlockingIOError, match="unavailable"):
        listener.accept()


def test_what_is_sent_into_one_end_wakes_whoever_waits_at_the_other(room: Any) -> None:
    woken, waking = room.wake_pair()
    with woken, waking:
        assert room.wait([woken], timeout_s=0.0) == ([], [])
        waking.send(b"w")
        assert room.wait([woken], [waking], timeout_s=5.0) == ([woken], [waking])
        woken.recv(10)
        with pytest.raises(BlockingIOError, match="unavailable"):
            woken.recv(10)
        filled = 0
        while room.wait([], [waking], timeout_s=0.0)[1] and filled < 1 << 26:
            filled += waking.send(b"w" * 4096)
        with pytest.raises(BlockingIOError, match="unavailable"):
            waking.send(b"w" * (1 << 22))
