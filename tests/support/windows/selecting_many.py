"""`selectors` as on Windows: the one that selects, of sockets only."""

from __future__ import annotations

import selectors as real
from collections.abc import Sequence
from types import ModuleType
from typing import Any

from tests.support.windows import selecting
from tests.support.windows.stand_in import StandIn


class SelectSelector(real.SelectSelector):
    """Waits by `select`; nothing registered is refused as there (WSAEINVAL)."""

    def _select(self, read: Any, write: Any, _: Any, timeout: float | None = None) -> tuple[list[Any], list[Any], list[Any]]:
        ready, writable, failed = selecting.select(_listed(read), _listed(write), _listed(write), timeout)
        return ready, writable + failed, []


def _listed(numbers: Sequence[Any]) -> list[Any]:
    return list(numbers)


def stand_in() -> ModuleType:
    return StandIn(real, SelectSelector=SelectSelector, DefaultSelector=SelectSelector)
