"""`pathlib.Path` for the package: files are opened, moved and deleted as `files` does; others have it as it is."""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.support.windows import files

_PACKAGE = ("firmware_host", "firmware_host.")


def _asked_by_package(depth: int) -> bool:
    name = sys._getframe(depth).f_globals.get("__name__", "")
    return isinstance(name, str) and (name == _PACKAGE[0] or name.startswith(_PACKAGE[1]))


def _for_package(name: str, there: Callable[..., Any]) -> None:
    here = getattr(Path, name)

    @functools.wraps(here)
    def either(self: Path, *arguments: Any, **options: Any) -> Any:
        chosen = there if _asked_by_package(2) else here
        return chosen(self, *arguments, **options)

    setattr(Path, name, either)


def _open(
    path: Path,
    mode: str = "r",
    buffering: int = -1,
    encoding: str | None = None,
    errors: str | None = None,
    newline: str | None = None,
) -> Any:
    return files.open_file(path, mode, buffering, encoding, errors, newline)


def _read_text(path: Path, encoding: str | None = None, errors: str | None = None) -> str:
    with _open(path, "r", -1, encoding, errors) as file:
        return file.read()  # type: ignore[no-any-return]


def _write_text(
    path: Path, data: str, encoding: str | None = None, errors: str | None = None, newline: str | None = None
) -> int:
    with _open(path, "w", -1, encoding, errors, newline) as file:
        return file.write(data)  # type: ignore[no-any-return]


def _read_bytes(path: Path) -> bytes:
    with _open(path, "rb") as file:
        return file.read()  # type: ignore[no-any-return]


def _write_bytes(path: Path, data: bytes) -> int:
    with _open(path, "wb") as file:
        return file.write(data)  # type: ignore[no-any-return]


def _unlink(path: Path, missing_ok: bool = False) -> None:
    try:
        files.unlink(path)
    except FileNotFoundError:
        if not missing_ok:
            raise


def _replace(path: Path, target: Any) -> Path:
    files.replace(path, target)
    return Path(target)


def _rename(path: Path, target: Any) -> Path:
    files.rename(path, target)
    return Path(target)


def install() -> None:
    for name, there in {
        "open": _open,
        "read_text": _read_text,
        "write_text": _write_text,
        "read_bytes": _read_bytes,
        "write_bytes": _write_bytes,
        "unlink": _unlink,
        "replace": _replace,
        "rename": _rename,
        "chmod": files.chmod,
        "symlink_to": lambda path, target, target_is_directory=False: files.symlink(target, path),
    }.items():
        _for_package(name, there)
