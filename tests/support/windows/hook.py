"""Hands the modules of the package the stand-ins, as they import them."""

from __future__ import annotations

import builtins
import importlib
import importlib.util
import sys
from collections.abc import Callable, Sequence
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from pathlib import Path
from types import ModuleType
from typing import Any

from tests.support.windows.names import NO_MODULES
from tests.support.windows.stand_in import StandIn, WritesThrough

PACKAGE = "firmware_host"
SITE = Path(__file__).resolve().parent / "site"

_made: dict[str, ModuleType] = {}
_real_import = builtins.__import__


def _sys() -> ModuleType:
    return WritesThrough(sys, platform="win32", getwindowsversion=lambda: (10, 0, 19045, 2, ""))


def _made_by(file: str) -> Callable[[], ModuleType]:
    def make() -> ModuleType:
        return importlib.import_module(f"tests.support.windows.{file}").stand_in()  # type: ignore[no-any-return]

    return make


def _only_missing(name: str) -> Callable[[], ModuleType]:
    return lambda: StandIn(importlib.import_module(name))


_MAKERS: dict[str, Callable[[], ModuleType]] = {
    "sys": _sys,
    "os": _made_by("files"),
    "signal": _made_by("signals"),
    "subprocess": _made_by("processes"),
    "socket": _made_by("sockets"),
    "select": _made_by("selecting"),
    "selectors": _made_by("selecting_many"),
    "msvcrt": _made_by("console"),
    "ctypes": _made_by("win32"),
    "time": _only_missing("time"),
}


def module(name: str) -> ModuleType:
    """The stand-in for a module of the library, made when it is first asked for."""
    if name not in _made:
        _made[name] = _MAKERS[name]()
    return _made[name]


def importing(
    name: str, globals_: Any = None, locals_: Any = None, fromlist: Sequence[str] = (), level: int = 0
) -> ModuleType:
    """`__import__` of the package's modules."""
    root = name.partition(".")[0]
    if level or root == PACKAGE:
        return _real_import(name, globals_, locals_, fromlist, level)
    if root in NO_MODULES:
        raise ModuleNotFoundError(f"No module named {name!r} on Windows", name=name)
    if root not in _MAKERS:
        return _real_import(name, globals_, locals_, fromlist, level)
    if root != name and fromlist:  # from os.path import join
        return _real_import(name, globals_, locals_, fromlist, level)
    if root != "msvcrt":
        _real_import(name, globals_, locals_, fromlist, level)  # whatever of it is a module of its own
    return module(root)


def built_in() -> dict[str, Any]:
    """The built-in names of one module of the package."""
    from tests.support.windows import files

    return vars(builtins) | {"__import__": importing, "open": files.open_file}


class _Loader(SourceFileLoader):
    """Executes a module of the package with the built-in names of Windows."""

    def exec_module(self, module: ModuleType) -> None:
        vars(module)["__builtins__"] = built_in()
        super().exec_module(module)


class _Finder(MetaPathFinder):
    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if fullname != PACKAGE and not fullname.startswith(f"{PACKAGE}."):
            return None
        spec = PathFinder.find_spec(fullname, path, target)
        if spec is not None and type(spec.loader) is SourceFileLoader:
            spec.loader = _Loader(spec.loader.name, spec.loader.path)
        return spec


def load(name: str) -> ModuleType:
    """A module of the package as on Windows, beside the one that this process has by that name; not registered."""
    spec = _Finder().find_spec(name, importlib.import_module(name.rpartition(".")[0]).__path__)
    if spec is None or spec.loader is None:
        raise ModuleNotFoundError(name)
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


def install() -> None:
    """From here on; what of the package is imported already would stay as it is, so that is refused."""
    if any(isinstance(finder, _Finder) for finder in sys.meta_path):
        return
    early = sorted(name for name in sys.modules if name == PACKAGE or name.startswith(f"{PACKAGE}."))
    if early:
        raise RuntimeError(f"imported before it could be put on Windows: {', '.join(early)}")
    sys.meta_path.insert(0, _Finder())
