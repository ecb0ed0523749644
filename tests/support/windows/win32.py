"""`ctypes` as on Windows: `windll` and `WinDLL`, with the functions of kernel32 that the package calls."""

from __future__ import annotations

import ctypes as real
from types import ModuleType, SimpleNamespace
from typing import Any

from tests.support.windows.stand_in import StandIn

kernel32 = SimpleNamespace()


def library(name: str, **_: Any) -> SimpleNamespace:
    if name.lower().removesuffix(".dll") != "kernel32":
        raise NotImplementedError(f"{name} is not imitated")
    return kernel32


def stand_in() -> ModuleType:
    return StandIn(real, windll=SimpleNamespace(kernel32=kernel32), WinDLL=library, get_last_error=lambda: 0)
