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
    "msvcrt": _made_by("c_runtime"),
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


def built_in(importer: Callable[..., ModuleType] = importing) -> dict[str, Any]:
    """The built-in names of one module of the package."""
    from tests.support.windows import files

    return vars(builtins) | {"__import__": importer, "open": files.open_file}


class _Loader(SourceFileLoader):
    """Executes a module of the package with the built-in names of Windows."""

    importer = staticmethod(importing)

    def exec_module(self, module: ModuleType) -> None:
        vars(module)["__builtins__"] = built_in(self.importer)
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


class SystemRoom:
    """`firmware_host.system` as on Windows, beside the one that this process has: `SystemRoom().module("files")`."""

    NAME = f"{PACKAGE}.system"

    def __init__(self) -> None:
        self._loaded: dict[str, ModuleType] = {}

    def module(self, topic: str) -> Any:
        """`firmware_host.system.<topic>`, and whatever it imports from this room, on Windows."""
        return self._load(f"{self.NAME}.{topic}")

    def _load(self, name: str) -> ModuleType:
        if name not in self._loaded:
            spec = _Finder().find_spec(name, self._folder(name.rpartition(".")[0]))
            if spec is None or not isinstance(spec.loader, _Loader):
                raise ModuleNotFoundError(f"No module named {name!r}", name=name)
            spec.loader.importer = self._importing  # type: ignore[method-assign]
            self._loaded[name] = made = importlib.util.module_from_spec(spec)
            spec.loader.exec_module(made)
        return self._loaded[name]

    def _folder(self, room: str) -> Sequence[str]:
        return importlib.import_module(room).__path__

    def _importing(
        self, name: str, globals_: Any = None, locals_: Any = None, fromlist: Sequence[str] = (), level: int = 0
    ) -> ModuleType:
        if name != self.NAME and not name.startswith(f"{self.NAME}."):
            return importing(name, globals_, locals_, fromlist, level)
        made = self._load(name)
        for item in fromlist:
            if not hasattr(made, item):
                setattr(made, item, self._load(f"{name}.{item}"))
        return made


def install() -> None:
    """From here on; what of the package is imported already would stay as it is, so that is refused."""
    if any(isinstance(finder, _Finder) for finder in sys.meta_path):
        return
    early = sorted(name for name in sys.modules if name == PACKAGE or name.startswith(f"{PACKAGE}."))
    if early:
        raise RuntimeError(f"imported before it could be put on Windows: {', '.join(early)}")
    sys.meta_path.insert(0, _Finder())
