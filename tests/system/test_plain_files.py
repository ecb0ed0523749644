"""Files are read only where they are plain and small enough, and written whole or not at all."""

from __future__ import annotations

import errno
import os
import signal
import socket
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from types import SimpleNamespace

import pytest

from firmware_host.errors import MissingFileError, UnreadableFileError
from firmware_host.system import files
from firmware_host.system.files import RecordFile, read_lines, read_regular, write_whole
from firmware_host.system.kinds import NotPlainError
from firmware_host.system.windows import files as windows


@pytest.fixture(autouse=True)
def never_hang() -> Iterator[None]:
    """Whoever waits for a pipe is woken with an error."""

    def too_long(number: int, frame: object) -> None:
        raise TimeoutError("it waits")

    before = signal.signal(signal.SIGALRM, too_long)
    signal.alarm(20)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


def a_folder(path: Path) -> None:
    path.mkdir()


def a_pipe(path: Path) -> None:
    os.mkfifo(path)


def a_socket(path: Path) -> None:
    with closing(socket.socket(socket.AF_UNIX)) as listener, pytest.MonkeyPatch.context() as patch:
        patch.chdir(path.parent)  # its name must be short
        listener.bind(path.name)


def a_device(path: Path) -> None:
    path.symlink_to("/dev/zero")


def a_link_to_a_pipe(path: Path) -> None:
    os.mkfifo(path.with_name("pipe"))
    path.symlink_to(path.with_name("pipe"))


NOT_PLAIN = {
    "folder": (a_folder, "a folder"),
    "pipe": (a_pipe, "a pipe"),
    "socket": (a_socket, "a socket"),
    "device": (a_device, "a device"),
    "linked-pipe": (a_link_to_a_pipe, "a pipe"),
}


@pytest.mark.parametrize(("make", "what"), NOT_PLAIN.values(), ids=NOT_PLAIN)
def test_what_is_not_a_plain_file_is_refused_at_once_and_named(
    make: Callable[[Path], None], what: str, tmp_path: Path
) -> None:
    path = tmp_path / "file"
    make(path)
    with pytest.raises(UnreadableFileError, match=rf"/file: is not a plain file, but {what}\. Name .*100 bytes"):
        read_regular(path, 100)
    with pytest.raises(UnreadableFileError, match="is not a plain file, but"):
        read_regular(path, 100, links=False)


def test_a_serial_line_is_not_even_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    """Opening one resets many boards."""

    def opened(*arguments: object) -> int:
        raise AssertionError("it was opened")

    far, near = os.openpty()
    try:
        name = os.ttyname(near)
        monkeypatch.setattr(os, "open", opened)
        with pytest.raises(UnreadableFileError, match="is not a plain file, but a device"):
            read_regular(Path(name), 100)
    finally:
        os.close(far)
        os.close(near)


@pytest.mark.parametrize(("size", "fits"), [(0, True), (99, True), (100, True), (101, False), (1 << 20, False)])
def test_a_file_is_read_up_to_its_bound_and_no_further(size: int, *, fits: bool, tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"x" * size)
    if fits:
        assert read_regular(path, 100) == b"x" * size
    else:
        with pytest.raises(UnreadableFileError, match="/file: is larger than 100 bytes"):
            read_regular(path, 100)


def test_a_file_of_many_pieces_is_read_whole(tmp_path: Path) -> None:
    content = bytes(range(256)) * 1000 + b"\r\n\x1a\n"
    (tmp_path / "file").write_bytes(content)
    assert read_regular(tmp_path / "file", len(content)) == content


def test_nothing_there_is_told_apart_from_what_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(MissingFileError, match="/file: no such file"):
        read_regular(tmp_path / "file", 100)
    (tmp_path / "loop").symlink_to("loop")
    (tmp_path / "plain").write_bytes(b"")
    for name in ("loop", "plain/file", "zero\0byte", "long" * 1000):
        with pytest.raises(UnreadableFileError, match=r"cannot be read \("):
            read_regular(tmp_path / name, 100)


def test_a_link_is_followed_only_where_it_may_be(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"mine")
    (tmp_path / "link").symlink_to("file")
    assert read_regular(tmp_path / "link", 100) == b"mine"
    with pytest.raises(UnreadableFileError, match="is not a plain file, but a link"):
        read_regular(tmp_path / "link", 100, links=False)


@contextmanager
def swapped_after_the_look(path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Between the look and the opening a pipe takes the file's place."""
    real = os.open

    def swap(name: Path, *rest: int) -> int:
        path.unlink()
        os.mkfifo(path)
        return real(name, *rest)

    with monkeypatch.context() as patch:
        patch.setattr(os, "open", swap)
        yield


@pytest.mark.posix("a named pipe")
def test_a_pipe_that_takes_the_place_of_a_file_meanwhile_is_refused_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"plain")
    with swapped_after_the_look(path, monkeypatch), pytest.raises(UnreadableFileError, match="but a pipe"):
        read_regular(path, 100)


def test_lines_come_whole_and_a_rest_is_left_out(tmp_path: Path) -> None:
    path = tmp_path / "file"
    lines = [b"x" * length for length in (0, 5, 70_000, 3, 65_535, 65_536, 1)]
    path.write_bytes(b"\n".join(lines) + b"\ntorn")
    assert list(read_lines(path, 1 << 20, 70_000)) == lines
    path.write_bytes(b"")
    assert list(read_lines(path, 100, 10)) == []


@pytest.mark.parametrize("tail", [b"\n", b""], ids=["whole", "torn"])
def test_a_line_that_is_too_long_is_named_once_those_before_it_are_read(tail: bytes, tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"1\n22\n" + b"3" * 11 + tail)
    lines = read_lines(path, 100, 10)
    assert [next(lines), next(lines)] == [b"1", b"22"]
    with pytest.raises(UnreadableFileError, match="/file:3: has more than 10 bytes in a line"):
        next(lines)


# --- written -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("content", ["a\r\nb\nÄ\x1a", b"\x00\r\n\xff", "", "x" * 200_000], ids=str.__name__ and repr)
def test_what_is_written_is_there_byte_for_byte(content: str | bytes, tmp_path: Path) -> None:
    write_whole(tmp_path / "file", content)
    assert (tmp_path / "file").read_bytes() == (content.encode() if isinstance(content, str) else content)
    assert [each.name for each in tmp_path.iterdir()] == ["file"]


def test_a_file_that_cannot_be_replaced_keeps_its_content_and_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_bytes(b"old")

    def refused(*paths: object) -> None:
        raise PermissionError(errno.EACCES, "refused")

    monkeypatch.setattr(os, "replace", refused)
    with pytest.raises(PermissionError, match="refused"):
        write_whole(tmp_path / "file", "new", pause=lambda wait_s: None)
    assert (tmp_path / "file").read_bytes() == b"old"
    assert [each.name for each in tmp_path.iterdir()] == ["file"]


def test_a_record_is_written_at_its_end_and_at_a_place(tmp_path: Path) -> None:
    with RecordFile(tmp_path / "file") as record:
        assert record.append(b"0123456789") == 10
        assert record.write_at(b"ab", 2) == 2
        assert record.append(b"!") == 1
        record.truncate(8)
        assert record.append(b"\r\n") == 2
        record.sync()
    assert (tmp_path / "file").read_bytes() == b"01ab4567\r\n"
    with RecordFile(tmp_path / "file") as record:
        record.append(b"more")
    assert (tmp_path / "file").read_bytes() == b"01ab4567\r\nmore"
    record.close()
    with pytest.raises(ValueError, match="the file is closed"):
        record.append(b"x")


@pytest.mark.parametrize("kind", ["folder", "pipe", "socket", "device"])
def test_a_record_is_not_written_to_what_is_not_a_plain_file(kind: str, tmp_path: Path) -> None:
    NOT_PLAIN[kind][0](tmp_path / "file")
    with pytest.raises(NotPlainError, match="is not a plain file, but"):
        RecordFile(tmp_path / "file")


# --- each system's own ways ----------------------------------------------------------------------------------------


@pytest.mark.posix("fcntl")
@pytest.mark.parametrize("refused", [False, True], ids=["whole", "memory-stick"])
def test_a_system_that_can_sync_down_to_the_drive_is_asked_to(refused: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    import fcntl

    from firmware_host.system.posix import files as posix

    calls: list[object] = []

    def control(descriptor: int, request: int) -> None:
        calls.append(request)
        if refused:
            raise OSError(errno.ENOTSUP, "not here")

    monkeypatch.setattr(posix, "_WHOLE_SYNC", 51)
    monkeypatch.setattr(fcntl, "fcntl", control)
    monkeypatch.setattr(os, "fsync", lambda descriptor: calls.append("fsync"))
    posix.sync(3)
    assert calls == ([51, "fsync"] if refused else [51])


class BusyFile:
    """The system of a file that a reader has open for some tries."""

    def __init__(self, tries: int, winerror: int | None) -> None:
        self.left, self._winerror = tries, winerror

    def replace(self, source: object, target: object) -> None:
        if self.left:
            self.left -= 1
            error = PermissionError(errno.EACCES, "Access is denied")
            if self._winerror is not None:
                error.winerror = self._winerror  # type: ignore[attr-defined,unused-ignore]
            raise error


@pytest.mark.parametrize("winerror", [5, 32, None], ids=["denied", "sharing", "none"])
def test_a_file_in_use_on_windows_is_tried_again_for_two_seconds_at_the_most(
    winerror: int | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    pauses: list[float] = []
    monkeypatch.setattr(windows, "os", BusyFile(3, winerror))
    windows.replace(Path("new"), Path("old"), pauses.append)
    assert len(pauses) == 3
    monkeypatch.setattr(windows, "os", BusyFile(1000, winerror))
    with pytest.raises(PermissionError, match="Access is denied"):
        windows.replace(Path("new"), Path("old"), pauses.append)
    assert 1 < sum(pauses[3:]) <= 2


def test_another_refusal_on_windows_is_not_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(windows, "os", BusyFile(1000, 19))  # write-protected
    with pytest.raises(PermissionError, match="Access is denied"):
        windows.replace(Path("new"), Path("old"), pytest.fail)


def test_every_file_on_windows_is_opened_in_binary_and_no_folder_is_synced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    binary, flags = 0x8000, []

    def opened(path: Path, given: int, mode: int = 0o777) -> int:
        flags.append(given)
        return os.open(path, given & ~binary, mode)

    names = {name: getattr(os, name) for name in ("stat", "lstat", "fstat", "lseek", "read", "write", "fsync", "close")}
    names |= {name: getattr(os, name) for name in ("ftruncate", "replace", "O_RDONLY", "O_WRONLY", "O_CREAT", "O_EXCL")}
    fake = SimpleNamespace(**names, SEEK_END=os.SEEK_END, SEEK_SET=os.SEEK_SET, O_BINARY=binary, open=opened)
    monkeypatch.setattr(windows, "os", fake)
    monkeypatch.setattr(files, "_here", windows)
    write_whole(tmp_path / "file", "a\n")
    with RecordFile(tmp_path / "file") as record, RecordFile(tmp_path / "new"):
        record.append(b"b\n")
        record.write_at(b"A", 0)
    assert read_regular(tmp_path / "file", 100) == b"A\nb\n"
    assert len(flags) == 4
    assert all(given & binary for given in flags)
    (tmp_path / "link").symlink_to("file")
    with pytest.raises(NotPlainError, match="but a link"):
        RecordFile(tmp_path / "link")
