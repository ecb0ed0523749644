"""A module that stands in for another: some names of its own, some missing, the rest looked up in the real one."""

from __future__ import annotations

from types import ModuleType
from typing import Any

from tests.support.windows.names import MISSING


class StandIn(ModuleType):
    """Stands in for `real`; what a test replaces in the real module for a while is replaced here too."""

    def __init__(self, real: ModuleType, **own: Any) -> None:
        super().__init__(real.__name__, real.__doc__)
        vars(self).update(own, _real=real, _missing=MISSING.get(real.__name__))

    def __getattr__(self, name: str) -> Any:
        if self._missing is not None and self._missing.fullmatch(name):
            raise AttributeError(f"module {self.__name__!r} has no attribute {name!r} on Windows")
        return getattr(self._real, name)

    def __dir__(self) -> list[str]:
        names = {*dir(self._real), *vars(self)}
        return sorted(name for name in names if self._missing is None or not self._missing.fullmatch(name))


class WritesThrough(StandIn):
    """One whose names, when they are set, are set in the real module: `sys.stdout = ...`."""

    def __setattr__(self, name: str, value: Any) -> None:
        setattr(self._real, name, value)

    def __delattr__(self, name: str) -> None:
        delattr(self._real, name)


def win_error(kind: type[OSError], errno: int, winerror: int | None, text: str, *paths: object) -> OSError:
    """The error as Python raises it there: with the number of Win32 beside that of the C runtime."""
    named = [str(path) for path in paths]
    error = kind(errno, text, *named[:1], *([None, *named[1:]] if named[1:] else []))
    error.winerror = winerror  # type: ignore[attr-defined]
    return error
