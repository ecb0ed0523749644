import os
import subprocess
import sys
from pathlib import Path

import pytest

from firmware_host.controller.port.lock import PortLock
from firmware_host.errors import PortBusyError

HOLDER = """
import sys
from pathlib import Path
from firmware_host.controller.port.lock import PortLock
lock = PortLock(sys.argv[1], Path(sys.argv[2]))
lock.acquire()
print("held", flush=True)
sys.stdin.read()
"""


def test_a_port_held_by_another_process_is_refused_with_its_number_until_it_dies(tmp_path: Path) -> None:
    url = "/dev/ttyBENCH0"
    command = [sys.executable, "-c", HOLDER, url, str(tmp_path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as holder:
        assert holder.stdin is not None
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        lock = PortLock(url, tmp_path)
        for _ in range(2):  # trying it must not wipe out who holds it
            with pytest.raises(
                PortBusyError, match=f"in use by process {holder.pid}; that is another circumstep: wait"
            ):
                lock.acquire()
        holder.kill()
    lock.acquire()  # a holder that died holds nothing
    lock.release()


def test_a_lock_keeps_out_its_own_process_too_and_can_be_given_back_twice(tmp_path: Path) -> None:
    first, second = PortLock("socket://127.0.0.1:5000", tmp_path), PortLock("SOCKET://127.0.0.1:5000", tmp_path)
    first.acquire()
    with pytest.raises(PortBusyError, match=f"in use by process {os.getpid()}") as caught:
        second.acquire()
    assert caught.value.holder_pid == os.getpid()
    first.release()
    first.release()
    second.acquire()
    second.release()


@pytest.mark.posix("devices that are files")
def test_a_link_to_a_device_is_the_same_port(tmp_path: Path) -> None:
    (tmp_path / "device").touch()
    (tmp_path / "link").symlink_to(tmp_path / "device")
    lock = PortLock(str(tmp_path / "device"), tmp_path)
    lock.acquire()
    with pytest.raises(PortBusyError, match="in use by process"):
        PortLock(str(tmp_path / "link"), tmp_path).acquire()
    lock.release()


def test_other_ports_are_free(tmp_path: Path) -> None:
    first, second = PortLock("/dev/ttyBENCH0", tmp_path), PortLock("/dev/ttyBENCH1", tmp_path)
    first.acquire()
    second.acquire()
    first.release()
    second.release()
