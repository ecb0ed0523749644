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

    def _select(
        self, read: Sequence[Any], write: Sequence[Any], _: Any, timeout: float | None = None
    ) -> tuple[list[Any], list[Any], list[Any]]:
        ready, writable, failed = selecting.select(list(read), list(write), list(write), timeout)
        return ready, writable + failed, []


def stand_in() -> ModuleType:
    return StandIn(real, SelectSelector=SelectSelector, DefaultSelector=SelectSelector)
