"""Ports on pseudo-terminals and loopback sockets. Reads wait for bytes that are there, or on a clock run fast."""

import os
import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from firmware_host.clock import ScaledClock, VirtualClock
from firmware_host.controller.port.lock import PortLock
from firmware_host.controller.port.port import Port
from firmware_host.controller.port.serial_port import SerialPort, open_port
from firmware_host.errors import InputError, PortBusyError, PortLostError, PortUnavailableError
from tests.support.lines import LINES

CLOCK = ScaledClock(20.0)


@pytest.fixture(params=LINES)
def line(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[Port, int]]:
    """A port and the file descriptor of its other end."""
    if request.param == "pty":
        far, near = os.openpty()
        port = open_port(os.ttyname(near), baud=115200, clock=CLOCK, lock_folder=tmp_path)
        os.close(near)
        yield port, far
        port.close()
        os.close(far)
        return
    with socket.create_server(("127.0.0.1", 0)) as server:
        url = f"socket://127.0.0.1:{server.getsockname()[1]}"
        port = open_port(url, baud=115200, clock=CLOCK, lock_folder=tmp_path)
        with server.accept()[0] as peer:
            yield port, peer.fileno()
            port.close()


def test_bytes_go_through_unchanged_both_ways(line: tuple[Port, int]) -> None:
    port, far = line
    every_byte = bytes(range(256))
    port.write(every_byte)
    heard = b""
    while len(heard) < 256:
        heard += os.read(far, 512)
    assert heard == every_byte
    os.write(far, every_byte)
    heard = b""
    while len(heard) < 256:
        portion = port.read(40.0)
        assert portion, "bytes were lost"
        heard += portion
    assert heard == every_byte


def test_a_read_ends_at_its_time_out_with_nothing(line: tuple[Port, int]) -> None:
    port, _ = line
    before_s = CLOCK.monotonic()
    assert port.read(0.5) == b""
    assert CLOCK.monotonic() >= before_s + 0.5


def test_whoever_talks_without_a_pause_is_heard_piece_by_piece(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        url = f"socket://127.0.0.1:{server.getsockname()[1]}"
        port = open_port(url, baud=115200, clock=CLOCK, lock_folder=tmp_path)
        with server.accept()[0] as peer:
            talker = threading.Thread(target=peer.sendall, args=(b"ok\n" * 60_000,))
            talker.start()
            heard = [len(port.read(40.0))]
            while sum(heard) < 180_000:
                heard.append(len(port.read(40.0)))
            talker.join()
            port.close()
    assert max(heard) <= 1 << 16


def test_a_closed_port_is_lost_and_can_be_closed_again(line: tuple[Port, int]) -> None:
    port, _ = line
    port.close()
    port.close()
    with pytest.raises(PortLostError, match="is closed"):
        port.write(b"?")
    with pytest.raises(PortLostError, match="is closed"):
        port.read(0.0)


@pytest.mark.posix("a pseudo-terminal")
def test_a_pulled_cable_is_told_on_reading(tmp_path: Path) -> None:
    far, near = os.openpty()
    port = open_port(os.ttyname(near), baud=115200, clock=CLOCK, lock_folder=tmp_path)
    os.close(near)
    os.close(far)
    with pytest.raises(PortLostError, match="cannot be"):
        port.read(40.0)
    port.close()


def test_a_peer_that_hangs_up_is_told_on_reading(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        url = f"socket://127.0.0.1:{server.getsockname()[1]}"
        port = open_port(url, baud=115200, clock=CLOCK, lock_folder=tmp_path)
        server.accept()[0].close()
        with pytest.raises(PortLostError, match="cannot be read"):
            port.read(40.0)
        port.close()


@pytest.mark.posix("a pseudo-terminal")
def test_an_open_port_is_busy_and_free_after_closing(tmp_path: Path) -> None:
    far, near = os.openpty()
    url = os.ttyname(near)
    port = open_port(url, baud=115200, clock=CLOCK, lock_folder=tmp_path)
    with pytest.raises(PortBusyError, match=f"in use by process {os.getpid()}"):
        open_port(url, baud=115200, clock=CLOCK, lock_folder=tmp_path)
    port.close()
    open_port(url, baud=115200, clock=CLOCK, lock_folder=tmp_path).close()
    os.close(near)
    os.close(far)


@pytest.mark.posix("a pseudo-terminal")
def test_a_program_with_other_locks_is_kept_out_by_the_device_itself(tmp_path: Path) -> None:
    far, near = os.openpty()
    url = os.ttyname(near)
    port = open_port(url, baud=115200, clock=CLOCK, lock_folder=tmp_path / "ours")
    with pytest.raises(PortBusyError, match="another program holds it"):
        open_port(url, baud=115200, clock=CLOCK, lock_folder=tmp_path / "theirs")
    port.close()
    os.close(near)
    os.close(far)


def test_a_port_that_is_not_there_is_told_and_leaves_no_lock(tmp_path: Path) -> None:
    url = str(tmp_path / "ttyNONE")
    for _ in range(2):
        with pytest.raises(PortUnavailableError, match="cannot be opened"):
            open_port(url, baud=115200, clock=CLOCK, lock_folder=tmp_path)


@pytest.mark.parametrize(
    ("url", "baud", "complaint"),
    [
        ("spy:///dev/null", 115200, "is of an unknown kind"),
        ("alt://x?class=Y", 115200, "is of an unknown kind"),
        ("/dev/null", 0, "baud rate 0 bit/s is not above 0"),
    ],
    ids=["spy", "alt", "baud"],
)
def test_other_kinds_of_ports_are_refused(tmp_path: Path, url: str, baud: int, complaint: str) -> None:
    with pytest.raises(InputError, match=complaint):
        open_port(url, baud=baud, clock=CLOCK, lock_folder=tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_port_that_cannot_be_opened_gives_its_lock_back_at_once(tmp_path: Path) -> None:
    """Also while whoever asked for it still looks at the error, which keeps hold of all that it came by."""
    gone = str(tmp_path / "no-device")
    with pytest.raises(PortUnavailableError, match="no-device") as first:
        open_port(gone, baud=115200, clock=CLOCK, lock_folder=tmp_path)
    with pytest.raises(PortUnavailableError, match="no-device"):
        open_port(gone, baud=115200, clock=CLOCK, lock_folder=tmp_path)
    assert first.value.url == gone


class CoarseDriver:
    """A serial driver whose own time-outs end at the next step of the system's timer, as on Windows: up to 15.6 ms."""

    def __init__(self, clock: VirtualClock) -> None:
        self.clock = clock
        self.waited = 0
        self.coming_s = float("inf")

    @property
    def in_waiting(self) -> int:
        return int(self.clock.monotonic() >= self.coming_s)

    def read(self, size: int = 1) -> bytes:
        if not self.in_waiting:
            self.waited += 1
            self.clock.advance_to(min(self.coming_s, self.clock.monotonic() + 0.0156))
        if not self.in_waiting:
            return b""
        self.coming_s = float("inf")
        return b"?"

    def write(self, data: bytes) -> int:
        return len(data)

    def close(self) -> None:
        pass


@pytest.fixture
def coarse(tmp_path: Path) -> tuple[CoarseDriver, SerialPort]:
    driver = CoarseDriver(VirtualClock())
    return driver, SerialPort("/dev/none", driver, PortLock("/dev/none", tmp_path), driver.clock)


def test_a_read_without_waiting_does_not_wait(coarse: tuple[CoarseDriver, SerialPort]) -> None:
    driver, port = coarse
    assert port.read(0.0) == b""
    assert (driver.clock.monotonic(), driver.waited) == (0.0, 0)
    driver.coming_s = 0.0
    assert port.read(0.0) == b"?"


@pytest.mark.parametrize("timeout_s", [0.003, 0.018, 0.05, 0.3])
def test_a_read_ends_on_time_though_the_driver_s_time_out_is_coarse(
    coarse: tuple[CoarseDriver, SerialPort], timeout_s: float
) -> None:
    driver, port = coarse
    assert port.read(timeout_s) == b""
    assert driver.clock.monotonic() == pytest.approx(timeout_s, abs=1e-9)


@pytest.mark.parametrize("coming_s", [0.004, 0.04, 0.0495])
def test_bytes_are_heard_as_they_come(coarse: tuple[CoarseDriver, SerialPort], coming_s: float) -> None:
    driver, port = coarse
    driver.coming_s = coming_s
    assert port.read(0.05) == b"?"
    assert driver.clock.monotonic() - coming_s < 0.0011
