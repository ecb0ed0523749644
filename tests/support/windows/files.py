"""`os` and `open` as on Windows.

- A file is opened in text mode unless `O_BINARY` is asked for: LF is written as CR LF, CR LF is read as LF, and Ctrl-Z
  ends it (Microsoft C runtime, "_open" and "Translation mode constants"). `open` always asks for it and translates in
  its own text layer instead, whose line end is CR LF and whose encoding is the system's (Python, `io.open`).
- A folder can't be opened: EACCES (Microsoft, "_open": the path is a directory).
- A file that anybody has open can't be replaced (WinError 5), moved or deleted (WinError 32): Python opens without
  FILE_SHARE_DELETE (Microsoft, "CreateFile", share modes; python/cpython issues on `os.replace`).
- `rename` does not replace (WinError 183); what is marked read-only isn't deleted or replaced (WinError 5).
- `fsync` is `_commit`, which needs a descriptor that may write (EBADF otherwise).
- `chmod` knows the read-only mark only (Python, `os.chmod`); a link needs a right that users lack (WinError 1314).
- `kill` ends the process with the number as its status, but for the two events of a console (Python, `os.kill`).
- The names and numbers of flags are the C runtime's (its `fcntl.h`).
"""

from __future__ import annotations

import builtins
import contextlib
import errno
import fcntl
import os
import stat
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

from tests.support.windows.stand_in import StandIn, win_error

FLAGS = {
    "O_RDONLY": 0,
    "O_WRONLY": 1,
    "O_RDWR": 2,
    "O_APPEND": 0x8,
    "O_RANDOM": 0x10,
    "O_SEQUENTIAL": 0x20,
    "O_TEMPORARY": 0x40,
    "O_NOINHERIT": 0x80,
    "O_CREAT": 0x100,
    "O_TRUNC": 0x200,
    "O_EXCL": 0x400,
    "O_SHORT_LIVED": 0x1000,
    "O_TEXT": 0x4000,
    "O_BINARY": 0x8000,
}
_HERE = {"O_APPEND": os.O_APPEND, "O_CREAT": os.O_CREAT, "O_TRUNC": os.O_TRUNC, "O_EXCL": os.O_EXCL}
_CTRL_Z = b"\x1a"

#: Descriptors in text mode; whether Ctrl-Z was met.
_text: dict[int, bool] = {}


def _here(path: Any) -> Any:
    return os.devnull if isinstance(path, str) and path.lower() in ("nul", r"\\.\nul") else path


def _no_folder(path: Any) -> None:
    if not isinstance(path, int) and os.path.isdir(path):  # noqa: PTH112
        raise win_error(PermissionError, errno.EACCES, None, "Permission denied", path)


def open_(path: Any, flags: int, mode: int = 0o777, *, dir_fd: None = None) -> int:
    if dir_fd is not None:
        raise NotImplementedError("dir_fd unavailable on this platform")
    path = _here(path)
    _no_folder(path)
    here = flags & 3
    for name, value in _HERE.items():
        if flags & FLAGS[name]:
            here |= value
    descriptor = os.open(path, here, 0o666 if mode & stat.S_IWRITE else 0o444)
    _text.pop(descriptor, None)
    if not flags & FLAGS["O_BINARY"]:
        _text[descriptor] = False
    return descriptor


def set_mode(descriptor: int, flags: int) -> int:
    """`_setmode`: returns the mode before."""
    before = FLAGS["O_TEXT"] if descriptor in _text else FLAGS["O_BINARY"]
    if flags == FLAGS["O_TEXT"]:
        _text.setdefault(descriptor, False)
    elif flags == FLAGS["O_BINARY"]:
        _text.pop(descriptor, None)
    else:
        raise OSError(errno.EINVAL, "Invalid argument")
    return before


def read(descriptor: int, length: int) -> bytes:
    if descriptor not in _text:
        return os.read(descriptor, length)
    if _text[descriptor]:
        return b""
    data, end, _ = os.read(descriptor, length).partition(_CTRL_Z)
    _text[descriptor] = bool(end)
    if data.endswith(b"\r"):
        data += os.read(descriptor, 1)
    return data.replace(b"\r\n", b"\n")


def write(descriptor: int, data: Any) -> int:
    if descriptor not in _text:
        return os.write(descriptor, data)
    rest = bytes(data).replace(b"\n", b"\r\n")
    while rest:
        rest = rest[os.write(descriptor, rest) :]
    return len(data)


def close(descriptor: int) -> None:
    _text.pop(descriptor, None)
    os.close(descriptor)


def fsync(descriptor: int) -> None:
    number = descriptor if isinstance(descriptor, int) else descriptor.fileno()
    if fcntl.fcntl(number, fcntl.F_GETFL) & os.O_ACCMODE == os.O_RDONLY:
        raise OSError(errno.EBADF, "Bad file descriptor")
    os.fsync(descriptor)


def open_file(
    file: Any,
    mode: str = "r",
    buffering: int = -1,
    encoding: str | None = None,
    errors: str | None = None,
    newline: str | None = None,
    closefd: bool = True,
    opener: Any = None,
) -> Any:
    """The built-in `open`."""
    file = _here(file)
    _no_folder(file)
    if isinstance(file, int):
        _text.pop(file, None)
    if "b" not in mode:
        encoding = encoding or "cp1252"
        if newline is None and "+" in mode:
            raise NotImplementedError("text that is read and written is not imitated")
        if newline is None and set(mode) & set("wax"):
            newline = "\r\n"
    return builtins.open(file, mode, buffering, encoding, errors, newline, closefd, opener)


def fdopen(descriptor: int, *arguments: Any, **options: Any) -> Any:
    return open_file(descriptor, *arguments, **options)


def _descriptors_of(process: str) -> Iterator[str]:
    with contextlib.suppress(OSError):
        yield from (f"/proc/{process}/fd/{number}" for number in os.listdir(f"/proc/{process}/fd"))  # noqa: PTH208


def _children(process: str) -> Iterator[str]:
    with contextlib.suppress(OSError):
        for task in os.listdir(f"/proc/{process}/task"):  # noqa: PTH208
            with builtins.open(f"/proc/{process}/task/{task}/children", encoding="ascii") as listed:  # noqa: PTH123
                for child in listed.read().split():
                    yield child
                    yield from _children(child)


def is_open(path: Any) -> bool:
    """Whether this process, its parent or one that it has started has the file open without sharing its deletion."""
    try:
        wanted = os.stat(path)  # noqa: PTH116
    except OSError:
        return False
    for process in ("self", str(os.getppid()), *_children("self")):
        for descriptor in _descriptors_of(process):
            with contextlib.suppress(OSError):
                found = os.stat(descriptor)  # noqa: PTH116
                if stat.S_ISREG(found.st_mode) and (found.st_dev, found.st_ino) == (wanted.st_dev, wanted.st_ino):
                    return True
    return False


def _busy(path: Any, *also: Any) -> OSError:
    text = "The process cannot access the file because it is being used by another process"
    return win_error(PermissionError, errno.EACCES, 32, text, path, *also)


def _denied(path: Any, *also: Any) -> OSError:
    return win_error(PermissionError, errno.EACCES, 5, "Access is denied", path, *also)


def _read_only(path: Any) -> bool:
    return os.path.isfile(path) and not os.stat(path).st_mode & stat.S_IWRITE  # noqa: PTH113, PTH116


def _anything_open_in(folder: Any) -> bool:
    return any(is_open(path) for path in Path(folder).rglob("*") if path.is_file())


def unlink(path: Any, *, dir_fd: None = None) -> None:
    if os.path.isdir(path) or _read_only(path):  # noqa: PTH112
        raise _denied(path)
    if is_open(path):
        raise _busy(path)
    os.unlink(path)  # noqa: PTH108


def _movable(source: Any, target: Any) -> None:
    if os.path.isdir(source):  # noqa: PTH112
        if _anything_open_in(source):
            raise _denied(source, target)
    elif is_open(source):
        raise _busy(source, target)


def replace(source: Any, target: Any, *, src_dir_fd: None = None, dst_dir_fd: None = None) -> None:
    _movable(source, target)
    if os.path.isdir(target) or _read_only(target) or is_open(target):  # noqa: PTH112
        raise _denied(source, target)
    os.replace(source, target)  # noqa: PTH105


def rename(source: Any, target: Any, *, src_dir_fd: None = None, dst_dir_fd: None = None) -> None:
    _movable(source, target)
    if os.path.lexists(target):
        text = "Cannot create a file when that file already exists"
        raise win_error(FileExistsError, errno.EEXIST, 183, text, source, target)
    os.rename(source, target)  # noqa: PTH104


def chmod(path: Any, mode: int, *, dir_fd: None = None, follow_symlinks: bool = True) -> None:
    kept = stat.S_IMODE(os.stat(path).st_mode)  # noqa: PTH116
    os.chmod(path, kept | 0o200 if mode & stat.S_IWRITE else kept & ~0o222)  # noqa: PTH101


def symlink(source: Any, target: Any, target_is_directory: bool = False, *, dir_fd: None = None) -> None:
    text = "A required privilege is not held by the client"
    raise win_error(OSError, errno.EINVAL, 1314, text, source, target)


def kill(process: int, number: int) -> None:
    from tests.support.windows import signals

    signals.kill(process, number)


def stand_in() -> ModuleType:
    return StandIn(
        os,
        **FLAGS,
        name="nt",
        linesep="\r\n",
        devnull="nul",
        open=open_,
        read=read,
        write=write,
        close=close,
        fsync=fsync,
        fdopen=fdopen,
        unlink=unlink,
        remove=unlink,
        replace=replace,
        rename=rename,
        chmod=chmod,
        symlink=symlink,
        kill=kill,
        supports_dir_fd=frozenset(),
    )
