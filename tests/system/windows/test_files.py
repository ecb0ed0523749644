"""How files behave there and not here: text mode, folders, files that somebody has open."""

from __future__ import annotations

import contextlib
import csv
import errno
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.support.windows import hook, paths

windows: Any = hook.module("os")
open_there = hook.built_in()["open"]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "file"
    path.write_bytes(b"one\r\ntwo\n\x1arest")
    return path


@contextlib.contextmanager
def opened(path: Path, flags: int) -> Iterator[int]:
    descriptor = windows.open(path, flags)
    try:
        yield descriptor
    finally:
        windows.close(descriptor)


@pytest.mark.parametrize(
    ("mode", "written"), [("O_BINARY", b"a\nb\n"), ("O_TEXT", b"a\r\nb\r\n"), ("O_RDONLY", b"a\r\nb\r\n")]
)
def test_a_line_feed_is_written_as_two_bytes_unless_the_file_is_binary(
    mode: str, written: bytes, tmp_path: Path
) -> None:
    with opened(tmp_path / "new", windows.O_WRONLY | windows.O_CREAT | windows.O_EXCL | getattr(windows, mode)) as new:
        assert windows.write(new, b"a\nb\n") == 4
    assert (tmp_path / "new").read_bytes() == written


@pytest.mark.parametrize(
    ("mode", "read"), [("O_BINARY", b"one\r\ntwo\n\x1arest"), ("O_RDONLY", b"one\ntwo\n")], ids=["binary", "text"]
)
def test_two_bytes_are_read_as_a_line_feed_and_ctrl_z_ends_the_file_unless_it_is_binary(
    mode: str, read: bytes, file: Path
) -> None:
    with opened(file, windows.O_RDONLY | getattr(windows, mode)) as descriptor:
        assert windows.read(descriptor, 100) == read
        assert windows.read(descriptor, 100) == b""


def test_a_carriage_return_at_the_end_of_what_is_read_is_joined_with_its_line_feed(file: Path) -> None:
    with opened(file, windows.O_RDONLY) as descriptor:
        assert windows.read(descriptor, 4) == b"one\n"


def test_a_descriptor_can_be_made_binary_later_and_is_so_by_opening_it_as_a_file(file: Path) -> None:
    with opened(file, windows.O_RDONLY) as descriptor:
        assert hook.module("msvcrt").setmode(descriptor, windows.O_BINARY) == windows.O_TEXT
        assert windows.read(descriptor, 5) == b"one\r\n"
    with windows.fdopen(windows.open(file, windows.O_RDONLY), "rb") as stream:
        assert stream.read(5) == b"one\r\n"


def test_flags_have_the_numbers_of_that_c_runtime(tmp_path: Path) -> None:
    assert (windows.O_CREAT, windows.O_EXCL, windows.O_APPEND) == (0x100, 0x400, 8)
    for _ in range(2):
        with opened(tmp_path / "log", windows.O_WRONLY | windows.O_CREAT | windows.O_APPEND | windows.O_BINARY) as log:
            windows.write(log, b"x")
    assert (tmp_path / "log").read_bytes() == b"xx"
    with pytest.raises(FileExistsError, match="log"):
        windows.open(tmp_path / "log", windows.O_WRONLY | windows.O_CREAT | windows.O_EXCL)
    with opened(tmp_path / "log", windows.O_WRONLY | windows.O_TRUNC):
        assert (tmp_path / "log").stat().st_size == 0


@pytest.mark.parametrize("opening", [lambda path: windows.open(path, windows.O_RDONLY), open_there], ids=["os", "open"])
def test_a_folder_cannot_be_opened(opening: Callable[[Path], object], tmp_path: Path) -> None:
    with pytest.raises(PermissionError, match="Permission denied") as caught:
        opening(tmp_path)
    assert caught.value.errno == errno.EACCES


def test_open_writes_two_bytes_for_a_line_end_unless_it_is_told_none(tmp_path: Path) -> None:
    for name, newline, written in (("a", None, b"x\r\n"), ("b", "\n", b"x\n"), ("c", "", b"x\n")):
        with open_there(tmp_path / name, "w", newline=newline) as file:
            file.write("x\n")
        assert (tmp_path / name).read_bytes() == written
        with open_there(tmp_path / name) as file:
            assert file.read() == "x\n"


def test_a_table_written_without_newline_gets_a_carriage_return_too_many(tmp_path: Path) -> None:
    with open_there(tmp_path / "table", "w") as file:
        csv.writer(file).writerow(["a", "b"])
    assert (tmp_path / "table").read_bytes() == b"a,b\r\r\n"


def test_a_text_without_encoding_is_in_the_system_s_own(tmp_path: Path) -> None:
    with open_there(tmp_path / "text", "w") as file:
        file.write("±")
    assert (tmp_path / "text").read_bytes() == b"\xb1"


def test_what_is_written_to_nul_goes_nowhere() -> None:
    with open_there(windows.devnull, "w") as nowhere:
        nowhere.write("gone")


def test_only_a_file_that_may_be_written_can_be_synced(file: Path) -> None:
    with opened(file, windows.O_RDWR) as descriptor:
        windows.fsync(descriptor)
    with opened(file, windows.O_RDONLY) as descriptor, pytest.raises(OSError, match="Bad file descriptor"):
        windows.fsync(descriptor)


@contextlib.contextmanager
def held_here(path: Path) -> Iterator[None]:
    with path.open("rb"):
        yield


@contextlib.contextmanager
def held_by_a_child(path: Path) -> Iterator[None]:
    code = f"file = open({str(path)!r}); print('open', flush=True); input()"
    with subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "open\n"
        yield
        child.communicate("\n")


ACTS = {
    "delete": (lambda file: windows.unlink(file), 32),
    "remove": (lambda file: windows.remove(file), 32),
    "move": (lambda file: windows.replace(file, file.with_name("other")), 32),
    "rename": (lambda file: windows.rename(file, file.with_name("other")), 32),
    "replace": (lambda file: windows.replace(file.with_name("new"), file), 5),
}


@pytest.mark.parametrize("held", [held_here, held_by_a_child], ids=["here", "by a child"])
@pytest.mark.parametrize("act", ACTS)
def test_a_file_that_is_open_can_be_neither_replaced_nor_moved_nor_deleted(act: str, held: Any, file: Path) -> None:
    file.with_name("new").write_bytes(b"")
    do, number = ACTS[act]
    with held(file):
        with pytest.raises(PermissionError, match=r"used by another process|Access is denied") as caught:
            do(file)
        assert (caught.value.errno, caught.value.winerror) == (errno.EACCES, number)  # type: ignore[attr-defined]
        assert file.exists()
    do(file)


def test_renaming_does_not_replace_and_replacing_does(file: Path, tmp_path: Path) -> None:
    (tmp_path / "other").write_bytes(b"")
    with pytest.raises(FileExistsError, match="Cannot create a file when that file already exists"):
        windows.rename(file, tmp_path / "other")
    windows.replace(file, tmp_path / "other")
    assert not file.exists()


def test_a_folder_with_an_open_file_in_it_cannot_be_moved(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    with (tmp_path / "folder" / "file").open("w"), pytest.raises(PermissionError, match="Access is denied"):
        windows.replace(tmp_path / "folder", tmp_path / "other")
    windows.replace(tmp_path / "folder", tmp_path / "other")


def test_rights_are_one_mark_read_only_and_it_keeps_a_file_from_being_deleted(file: Path) -> None:
    windows.chmod(file, 0o600)
    assert file.stat().st_mode & 0o777 == 0o644
    windows.chmod(file, 0o400)
    assert file.stat().st_mode & 0o222 == 0
    with pytest.raises(PermissionError, match="Access is denied"):
        windows.unlink(file)
    windows.chmod(file, 0o600)
    windows.unlink(file)


def test_links_are_for_whoever_has_the_right_to_make_them(file: Path) -> None:
    with pytest.raises(OSError, match="A required privilege is not held by the client"):
        windows.symlink(file, file.with_name("link"))


def test_paths_are_as_there_for_the_package_and_as_here_for_all_others(file: Path) -> None:
    code = "from pathlib import Path\ndef write(path): Path(path).write_text('a\\n', encoding='utf-8')"
    ours: dict[str, Any] = {"__name__": "firmware_host.trial"}
    theirs: dict[str, Any] = {"__name__": "another"}
    exec(code, ours)
    exec(code, theirs)
    with pytest.MonkeyPatch.context() as patch:
        for name in ("open", "read_text", "write_text", "read_bytes", "write_bytes", "unlink", "replace", "rename"):
            patch.setattr(Path, name, getattr(Path, name))
        patch.setattr(Path, "chmod", Path.chmod)
        patch.setattr(Path, "symlink_to", Path.symlink_to)
        paths.install()
        theirs["write"](file)
        assert file.read_bytes() == b"a\n"
        ours["write"](file)
        assert file.read_bytes() == b"a\r\n"


def test_the_real_system_is_as_it_was(file: Path) -> None:
    with file.open("rb"):
        os.unlink(file)  # noqa: PTH108  the real system's, as it is
