"""One key for each port, however it is spelt: lock, notes and backups go by it, and find what was kept before."""

from __future__ import annotations

import errno
import hashlib
import json
import os
from collections.abc import Callable
from fractions import Fraction
from functools import partial
from pathlib import Path

import pytest
import serial

from firmware_host.clock import VirtualClock
from firmware_host.controller.port.lock import PortLock
from firmware_host.controller.port.serial_port import open_port
from firmware_host.controller.settings.backup import SettingsBackup, save_backup
from firmware_host.controller.stored_settings import ControllerSettings
from firmware_host.errors import PortBusyError, PortUnavailableError
from firmware_host.station.settings.known_scale import KnownScales, _digest
from firmware_host.station.settings.restore import newest_backup
from firmware_host.system import ports
from firmware_host.system.ports import device_key, port_key
from firmware_host.system.posix import ports as posix
from firmware_host.system.windows import ports as windows
from tests.support.bench import bench
from tests.support.plugged import plug as plugged

Plug = Callable[..., None]


@pytest.fixture
def on_windows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ports, "_here", windows)
    monkeypatch.setattr("serial.tools.list_ports.comports", list)


@pytest.fixture
def plug(monkeypatch: pytest.MonkeyPatch) -> Plug:
    """Says which boards are plugged in: device = serial number."""

    return partial(plugged, monkeypatch)


@pytest.mark.usefixtures("on_windows")
@pytest.mark.parametrize("spelt", ["COM3", "com3", "Com3", r"\\.\COM3", r"\\.\com3", r"\\?\COM3", "//./com3", "COM3:"])
def test_a_port_of_windows_is_one_port_however_it_is_spelt(spelt: str) -> None:
    assert port_key(spelt) == device_key(spelt) == "COM3"


@pytest.mark.usefixtures("on_windows")
def test_other_ports_of_windows_are_others() -> None:
    spelt = ["COM3", "COM13", "COM30", r"\\.\CNCA0", "COM", r"\\.\ ", "", ":"]
    assert len({port_key(each) for each in spelt}) == len(spelt)


@pytest.mark.usefixtures("on_windows")
def test_a_lock_on_windows_is_one_for_all_spellings(tmp_path: Path) -> None:
    lock = PortLock("COM3", tmp_path)
    lock.acquire()
    with pytest.raises(PortBusyError, match=rf"in use by process {os.getpid()}"):
        PortLock(r"\\.\com3", tmp_path).acquire()
    lock.release()


@pytest.mark.posix("devices that are files")
def test_links_to_one_device_are_one_port_and_an_address_is_one_in_any_case(tmp_path: Path) -> None:
    (tmp_path / "device").touch()
    (tmp_path / "link").symlink_to("device")
    (tmp_path / "further").symlink_to(tmp_path / "link")
    assert {device_key(str(tmp_path / name)) for name in ("device", "link", "further")} == {str(tmp_path / "device")}
    assert device_key("Socket://Bench:7000") == device_key("socket://bench:7000")
    spelt = (
        "socket://127.0.0.1:7000",
        "socket://localhost:7000",
        "SOCKET://LocalHost:7000/",
        "socket://localhost:7000?x=1",
    )
    assert {device_key(each) for each in spelt} == {"socket://127.0.0.1:7000"}
    assert device_key("socket://bench:7001") != device_key("socket://bench:7000")
    assert device_key("/dev/zero\0byte") == "/dev/zero\0byte"
    assert device_key("/dev/tty.usbserial-7") == device_key("/dev/cu.usbserial-7") == "/dev/cu.usbserial-7"


@pytest.mark.posix("devices that are files")
def test_a_board_with_a_serial_number_is_the_same_in_another_socket(plug: Plug) -> None:
    plug(ttyUSB0="A50285BI", ttyUSB1="A10K5XYZ")
    before = port_key("/dev/ttyUSB0")
    assert before == "usb:0403:6001:A50285BI"
    plug(ttyUSB4="A50285BI")
    assert port_key("/dev/ttyUSB4") == before
    assert port_key("/dev/ttyUSB0") == "/dev/ttyUSB0"  # nobody is there now
    assert device_key("/dev/ttyUSB4") == "/dev/ttyUSB4"  # a lock is on what is opened


@pytest.mark.posix("devices that are files")
@pytest.mark.parametrize(
    ("one", "other"),
    [(None, "A10K5XYZ"), ("0001", "A10K5XYZ"), ("00000000", None), ("A50285BI", "A50285BI")],
    ids=["none", "as-delivered", "zeros", "of-two-boards"],
)
def test_a_number_that_tells_no_board_from_another_is_not_gone_by(
    one: str | None, other: str | None, plug: Plug
) -> None:
    plug(ttyUSB0=one, ttyUSB1=other)
    assert port_key("/dev/ttyUSB0") == "/dev/ttyUSB0"


@pytest.mark.posix("devices that are files")
@pytest.mark.parametrize("problem", [OSError("no list"), ImportError("no list here")], ids=["refused", "unknown"])
def test_a_system_that_cannot_list_its_ports_goes_by_the_device(
    problem: Exception, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail() -> None:
        raise problem

    monkeypatch.setattr("serial.tools.list_ports.comports", fail)
    assert port_key("/dev/ttyUSB0") == "/dev/ttyUSB0"


# --- what is kept by it ----------------------------------------------------------------------------------------------


@pytest.fixture
def settings() -> ControllerSettings:
    return bench({"$103": 26.667}).open(axis="A").settings


def old_note(folder: Path, typed: str, kind: str, **content: str) -> Path:
    """A note as version 0.1 kept it: by the name of the port as it was typed."""
    folder.mkdir(exist_ok=True)
    path = folder / f"{hashlib.sha256(f'{typed} A'.encode()).hexdigest()[:24]}{kind}.json"
    path.write_text(json.dumps({"url": typed, **content}) + "\n", encoding="utf-8")
    return path


@pytest.mark.usefixtures("on_windows")
def test_a_note_is_found_under_every_spelling(settings: ControllerSettings, tmp_path: Path) -> None:
    scales = KnownScales(tmp_path)
    scales.remember("com3", settings)
    scales.remember_run(r"\\.\COM3", "A", tmp_path / "run")
    assert scales.recall("COM3", settings) == Fraction(26667, 1000)
    assert scales.last_run("com3", "A") == tmp_path / "run"
    assert len(list(tmp_path.glob("*.json"))) == 2
    assert scales.recall("COM4", settings) is None


def test_a_note_goes_with_the_board_into_another_socket(
    plug: Plug, settings: ControllerSettings, tmp_path: Path
) -> None:
    scales = KnownScales(tmp_path)
    plug(ttyUSB0="A50285BI")
    scales.remember("/dev/ttyUSB0", settings)
    scales.remember_run("/dev/ttyUSB0", "A", tmp_path / "run")
    plug(ttyUSB0="A10K5XYZ", ttyUSB4="A50285BI")
    assert scales.recall("/dev/ttyUSB4", settings) == Fraction(26667, 1000)
    assert scales.last_run("/dev/ttyUSB4", "A") == tmp_path / "run"
    assert scales.last_run("/dev/ttyUSB0", "A") is None


@pytest.mark.usefixtures("on_windows")
def test_notes_of_an_earlier_version_are_still_found_until_there_is_a_new_one(
    settings: ControllerSettings, tmp_path: Path
) -> None:
    scales = KnownScales(tmp_path)
    old_note(tmp_path, r"\\.\com3", "", settings=_digest(settings.raw), steps_per_unit="26.667")
    first = old_note(tmp_path, "com3", "-run", run="first")
    os.utime(first, (1, 1))
    old_note(tmp_path, "COM3", "-run", run="second")
    old_note(tmp_path, "COM4", "-run", run="other")
    assert scales.recall("COM3", settings) == Fraction(26667, 1000)
    assert scales.last_run("com3", "A") == Path("second")
    scales.remember_run("com3", "A", tmp_path / "third")
    assert scales.last_run(r"\\.\COM3", "A") == tmp_path / "third"


def test_a_note_of_an_earlier_version_is_found_where_the_board_has_a_number_now(plug: Plug, tmp_path: Path) -> None:
    old_note(tmp_path, "/dev/ttyUSB0", "-run", run="old")
    plug(ttyUSB0="A50285BI")
    assert KnownScales(tmp_path).last_run("/dev/ttyUSB0", "A") == Path("old")


def test_a_pipe_in_the_place_of_a_note_is_as_good_as_none(settings: ControllerSettings, tmp_path: Path) -> None:
    os.mkfifo(old_note(tmp_path / "notes", "/dev/ttyUSB0", "").with_suffix(".json.json"))
    note = old_note(tmp_path / "notes", "/dev/ttyUSB0", "-run", run="old")
    note.unlink()
    os.mkfifo(note)
    assert KnownScales(tmp_path / "notes").last_run("/dev/ttyUSB0", "A") is None
    assert KnownScales(tmp_path / "notes").recall("/dev/ttyUSB0", settings) is None


def test_the_newest_backup_goes_with_the_board_and_with_the_spelling(plug: Plug, tmp_path: Path) -> None:
    def backup(name: str, url: str, saved_at: str) -> Path:
        save_backup(tmp_path / name, SettingsBackup("status-query", url, saved_at, {"$103": "1.000"}))
        return tmp_path / name

    plug(ttyUSB0="A50285BI")
    mine = backup("a.json", "/dev/ttyUSB0", "2026-01-01")
    plug(ttyUSB0="A10K5XYZ", ttyUSB4="A50285BI")
    other = backup("b.json", "/dev/ttyUSB0", "2026-01-02")
    assert newest_backup(tmp_path, "/dev/ttyUSB4") == mine
    assert newest_backup(tmp_path, "/dev/ttyUSB0") == other
    old = json.loads(mine.read_text("utf-8"))
    del old["port"]  # as version 0.1 kept it
    (tmp_path / "c.json").write_text(json.dumps(old | {"url": "socket://BENCH:7000"}), encoding="utf-8")
    assert newest_backup(tmp_path, "socket://bench:7000") == tmp_path / "c.json"


# --- busy ------------------------------------------------------------------------------------------------------------

WINDOWS_BUSY = "could not open port 'COM3': PermissionError(13, 'Zugriff verweigert', None, 5)"
WINDOWS_GONE = "could not open port 'COM3': FileNotFoundError(2, 'Das System kann die Datei nicht finden.', None, 2)"


@pytest.mark.parametrize(
    ("busy", "error"),
    [
        (True, serial.SerialException(WINDOWS_BUSY)),
        (True, PermissionError(errno.EACCES, "Access is denied")),
        (False, serial.SerialException(WINDOWS_GONE)),
        (False, OSError(errno.EIO, "A device attached to the system is not functioning.")),
    ],
    ids=["busy", "busy-plainly", "gone", "broken"],
)
def test_windows_says_in_its_own_way_that_another_program_has_the_port(
    error: Exception, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, busy: bool
) -> None:
    def refuse(*arguments: object, **options: object) -> None:
        raise error

    monkeypatch.setattr(ports, "_here", windows)
    monkeypatch.setattr("serial.serial_for_url", refuse)
    kind, words = (PortBusyError, "another program holds it") if busy else (PortUnavailableError, "cannot be opened")
    with pytest.raises(kind, match=words):
        open_port("COM3", baud=115200, clock=VirtualClock(), lock_folder=tmp_path)


@pytest.mark.parametrize(
    ("number", "busy"), [(errno.EBUSY, True), (errno.EAGAIN, True), (errno.EACCES, False), (errno.ENOENT, False)]
)
def test_elsewhere_a_port_that_may_not_be_opened_is_not_taken_for_one_in_use(number: int, *, busy: bool) -> None:
    assert posix.is_busy(serial.SerialException(number, "could not open port")) is busy


@pytest.mark.parametrize(
    ("kind", "why"),
    [(FileNotFoundError, (True, False)), (PermissionError, (False, True)), (BlockingIOError, (False, False))],
    ids=["not-there", "not-allowed", "taken"],
)
def test_a_port_that_is_not_there_is_told_from_one_that_this_user_may_not_open(
    kind: type[OSError], why: tuple[bool, bool]
) -> None:
    number = {FileNotFoundError: errno.ENOENT, PermissionError: errno.EACCES, BlockingIOError: errno.EAGAIN}[kind]
    error = serial.SerialException(number, f"could not open port: {kind(number, 'as the system says')}")
    assert (posix.is_missing(error), posix.is_denied(error)) == why
    text = serial.SerialException(f"could not open port 'COM3': {kind(number, 'in any language')!r}")
    assert windows.is_missing(text) is why[0]
    assert not windows.is_denied(text)  # there it means that another program has it
    assert windows.is_busy(text) is why[1]


@pytest.mark.posix("groups")
def test_who_may_not_open_a_device_is_told_the_group_that_may(tmp_path: Path) -> None:
    import grp

    device = tmp_path / "device"
    device.touch()
    group = grp.getgrgid(device.stat().st_gid).gr_name
    device.chmod(0o660)
    assert f"group {group}: " in ports.how_to_be_let_in(str(device))
    device.chmod(0o640)  # reading is not enough
    assert ports.how_to_be_let_in(str(device)).startswith("Ask whoever looks after this computer")


def test_a_name_that_no_port_has_is_told_so_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(PortUnavailableError, match="there is none of this name") as caught:
        open_port(str(tmp_path / "none"), baud=9600, clock=VirtualClock(), lock_folder=tmp_path)
    assert str(caught.value).count(str(tmp_path / "none")) == 1
