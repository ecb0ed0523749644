"""The servers, with a clock that runs 200 times quicker than the real one, over pseudo-terminals and the loopback."""

from __future__ import annotations

import os
import select
import socket
import sys
from pathlib import Path

import pytest
import serial

from firmware_host.clock import ScaledClock
from firmware_host.errors import LinkError, PortUnavailableError
from firmware_host.simulator import StatusQueryDevice, StatusQueryVariant
from firmware_host.simulator.serving.serve import serve
from firmware_host.simulator.serving.server import DeviceServer
from firmware_host.simulator.serving.socket_server import SocketServer
from tests.support.lines import EACH_LINE, Kind

PATIENCE_S = 10.0
"""Real seconds before a test gives up waiting; nothing waits that long when all is well."""


class Client:
    """A plain client with bounded reads: a terminal opened as a file, or a socket."""

    def __init__(self, url: str) -> None:
        self._socket: socket.socket | None = None
        if url.startswith("socket://"):
            host, port = url.removeprefix("socket://").split(":")
            self._socket = socket.create_connection((host, int(port)), timeout=PATIENCE_S)
            self._descriptor = self._socket.fileno()
        else:
            self._descriptor = os.open(url, os.O_RDWR | os.O_NOCTTY)
        self._read = b""

    def send(self, text: str) -> None:
        os.write(self._descriptor, text.encode("latin-1"))

    def line(self) -> str:
        while b"\n" not in self._read:
            ready, _, _ = select.select([self._descriptor], [], [], PATIENCE_S)
            assert ready, f"nothing came after {self._read!r}"
            data = os.read(self._descriptor, 4096)
            assert data, "the line was closed"
            self._read += data
        line, _, self._read = self._read.partition(b"\n")
        return line.decode().rstrip("\r")

    def close(self) -> None:
        if self._socket is not None:
            self._socket.close()
        else:
            os.close(self._descriptor)

    def __enter__(self) -> Client:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def make(kind: Kind, **fields: object) -> DeviceServer:
    clock = ScaledClock(200)
    variant = StatusQueryVariant(settings={"$113": 6000}, **fields)  # type: ignore[arg-type]
    device = StatusQueryDevice(variant, clock.monotonic())
    return SocketServer(device, clock) if kind == "socket" else terminal(device, clock)


def terminal(device: StatusQueryDevice, clock: ScaledClock, link: Path | None = None) -> DeviceServer:
    from firmware_host.simulator.serving.pty_server import PtyServer  # not on every system

    return PtyServer(device, clock, link)


@EACH_LINE
def test_a_move_is_answered_made_and_seen_from_both_sides(kind: Kind) -> None:
    with make(kind) as server, Client(server.url) as client:
        assert client.line().endswith("['$' for help]")
        client.send("G0A100\n")
        assert client.line() == "ok"
        client.send("G4P0.01\n")
        assert client.line() == "ok"
        assert server.steps_at("A") == 10000
        assert not server.moving()
        assert not server.released()


@EACH_LINE
def test_clients_come_and_go_and_the_board_stays_powered(kind: Kind) -> None:
    with make(kind) as server:
        with Client(server.url) as client:
            client.line()
            client.send("G0A1\nG4P0\n")
            assert [client.line(), client.line()] == ["ok", "ok"]
        for _ in range(3):
            with Client(server.url) as client:
                client.send("$G\n")
                assert client.line().startswith("[GC:")
                assert client.line() == "ok"
        assert server.steps_at("A") == 100


@EACH_LINE
def test_every_byte_goes_through_as_it_is(kind: Kind) -> None:
    with make(kind) as server, Client(server.url) as client:
        client.line()
        client.send("G0A100\r")
        assert client.line() == "ok"
        client.send("\x03\x04\x11\x13\x1a\x85!\n?")  # an interrupt, an end of file, XON, XOFF, a stop
        said = {client.line(), client.line()}
        assert "error:1" in said
        assert any(line.startswith("<Hold:") for line in said)


@EACH_LINE
def test_starting_and_stopping_twice_is_harmless(kind: Kind) -> None:
    server = make(kind)
    server.stop()
    assert server.start() is server.start()
    server.stop()
    server.stop()


@EACH_LINE
def test_a_pulled_cable_ends_the_line_and_not_the_motion(kind: Kind) -> None:
    server = make(kind)
    with server, Client(server.url) as client:
        client.line()
        client.send("G0A20\n")
        assert client.line() == "ok"
        server.stop()
        ready, _, _ = select.select([client._descriptor], [], [], PATIENCE_S)
        assert ready
        try:
            assert os.read(client._descriptor, 100) == b""
        except OSError:
            assert kind == "pty"
        with server.inspect() as (device, now_s):
            assert device.moving_at(now_s) or device.steps_at("A", now_s) == 2000
    with server, Client(server.url) as client:
        client.send("G4P0.01\n")
        assert client.line() == "ok"
        assert server.steps_at("A") == 2000


@EACH_LINE
def test_the_url_is_known_once_started(kind: Kind) -> None:
    server = make(kind)
    with pytest.raises(LinkError, match="has not been started"):
        server.url  # noqa: B018
    with server:
        assert server.url


@EACH_LINE
def test_a_client_that_flushes_its_input_while_opening_still_sees_the_greeting_once(
    kind: Kind,
) -> None:
    # Source of the behaviour: pyserial flushes the input of every port that it opens.
    with make(kind) as server:
        port = serial.serial_for_url(server.url, timeout=PATIENCE_S)
        assert port.read_until(b"\n").endswith(b"['$' for help]\r\n")
        port.write(b"G90\n")
        assert port.read_until(b"\n") == b"ok\r\n"
        port.reset_input_buffer()
        port.write(b"G21\n")
        assert port.read_until(b"\n") == b"ok\r\n"
        port.close()


@pytest.mark.parametrize("boot_s", [0.0, 2.0], ids=["boots-at-once", "boots-slowly"])
def test_a_socket_client_resets_a_board_that_resets_on_open_and_sees_one_greeting(boot_s: float) -> None:
    with make("socket", resets_on_open=True, boot_s=boot_s) as server:
        for _ in range(2):
            with Client(server.url) as client:
                assert client.line().endswith("['$' for help]")
                client.send("G0A1\nG4P0\n")
                assert [client.line(), client.line()] == ["ok", "ok"]
        assert server.steps_at("A") == 200  # twice from 0 to 1


def test_a_second_socket_client_waits_for_the_first_to_leave() -> None:
    with make("socket") as server:
        first = Client(server.url)
        first.line()
        second = Client(server.url)
        second.send("$G\n")
        first.send("G20\n")
        assert first.line() == "ok"
        first.close()
        assert "G20" in second.line()
        second.close()


@pytest.mark.posix("a pseudo-terminal")
def test_a_link_leads_to_the_terminal_while_it_is_served(tmp_path: Path) -> None:
    link = tmp_path / "board"
    clock = ScaledClock(200)
    server = terminal(StatusQueryDevice(StatusQueryVariant(), clock.monotonic()), clock, link)
    for greeting in (True, False):
        with server:
            assert server.url == str(link)
            with Client(str(link)) as client:
                assert not greeting or client.line().endswith("['$' for help]")
                client.send("G90\n")
                assert client.line() == "ok"
        assert not link.is_symlink()


@pytest.mark.posix("a pseudo-terminal")
def test_a_link_left_behind_is_replaced(tmp_path: Path) -> None:
    link = tmp_path / "board"
    link.symlink_to("/dev/pts/a-terminal-of-long-ago")
    clock = ScaledClock(200)
    with (
        terminal(StatusQueryDevice(StatusQueryVariant(), clock.monotonic()), clock, link),
        Client(str(link)) as client,
    ):
        assert client.line().endswith("['$' for help]")


@pytest.mark.posix("a pseudo-terminal")
@pytest.mark.parametrize("linked", [False, True], ids=["file", "link-to-a-file"])
def test_a_file_in_the_place_of_the_link_is_left_alone(tmp_path: Path, linked: bool) -> None:
    link = tmp_path / "board"
    if linked:
        (tmp_path / "elsewhere").touch()
        link.symlink_to(tmp_path / "elsewhere")
    link.write_text("precious")
    clock = ScaledClock(200)
    server = terminal(StatusQueryDevice(StatusQueryVariant(), clock.monotonic()), clock, link)
    with pytest.raises(PortUnavailableError, match="cannot make this link"):
        server.start()
    assert link.read_text() == "precious"


def test_a_port_already_taken_is_an_error() -> None:
    with make("socket") as server:
        port = int(server.url.rsplit(":", 1)[1])
        clock = ScaledClock(200)
        other = SocketServer(StatusQueryDevice(StatusQueryVariant(), clock.monotonic()), clock, port)
        with pytest.raises(PortUnavailableError, match=r"127\.0\.0\.1"):
            other.start()


@pytest.mark.parametrize(
    ("options", "start"),
    [
        pytest.param({"kind": "pty"}, "/dev/", id="pty", marks=pytest.mark.posix("a pseudo-terminal")),
        pytest.param({"kind": "socket"}, "socket://127.0.0.1:", id="socket"),
        pytest.param({}, "socket://127.0.0.1:", id="unsaid"),
    ],
)
def test_serve_starts_the_kind_of_line_asked_for(options: dict[str, str], start: str) -> None:
    clock = ScaledClock(200)
    device = StatusQueryDevice(StatusQueryVariant(), clock.monotonic())
    with serve(device, clock, **options) as server, Client(server.url) as client:  # type: ignore[arg-type]
        assert server.url.startswith(start)
        assert client.line().endswith("['$' for help]")


def test_a_socket_is_served_at_the_port_asked_for_again_and_again() -> None:
    clock = ScaledClock(200)
    with serve(StatusQueryDevice(StatusQueryVariant(), clock.monotonic()), clock) as server:
        port = int(server.url.rsplit(":", 1)[1])
    for _ in range(2):
        device = StatusQueryDevice(StatusQueryVariant(), clock.monotonic())
        with serve(device, clock, port=port) as server, Client(server.url) as client:
            assert server.url == f"socket://127.0.0.1:{port}"
            assert client.line().endswith("['$' for help]")


def test_a_system_without_pseudo_terminals_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "firmware_host.simulator.serving.pty_server", None)
    clock = ScaledClock(200)
    device = StatusQueryDevice(StatusQueryVariant(), clock.monotonic())
    with pytest.raises(PortUnavailableError, match="this system has none; serve it on a loopback socket"):
        serve(device, clock, kind="pty")


@pytest.mark.posix("a pseudo-terminal")
def test_a_reader_who_never_reads_blocks_nobody() -> None:
    with make("pty") as server, Client(server.url) as client:
        for _ in range(500):
            client.send("$$\n")
            with server.inspect() as (device, now_s):
                device.receive(b"\x18" * 50, now_s)
        assert server.steps_at("A") == 0
