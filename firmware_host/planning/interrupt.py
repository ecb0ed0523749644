"""How a long computation is stopped from outside: a plain callable, called from time to time, that may raise."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

Check: TypeAlias = Callable[[], None]
"""Does nothing, or raises what the caller wants raised; called at least each 50 ms of computing."""


def never() -> None:
    """The check of a computation that nobody stops."""
