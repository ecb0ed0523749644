"""Topics of the room of systems, on this system and, on stand-ins, on Windows."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from typing import Any

import pytest

from tests.support import windows
from tests.support.windows.hook import SystemRoom

Topic = Callable[[str], Any]
THERE = pytest.param("windows", id="windows")
HERE = pytest.param("posix", id="posix", marks=pytest.mark.posix("the half of the room for POSIX"))


@pytest.fixture(params=[HERE, THERE])
def system(request: pytest.FixtureRequest) -> Topic:
    """`system("keyboard")` is that file of the room, with the half of the system in question."""
    if request.param == "windows" and not windows.wanted():
        return SystemRoom().module
    return lambda topic: importlib.import_module(f"firmware_host.system.{topic}")


@pytest.fixture
def on_windows() -> Topic:
    """The same on Windows only."""
    return SystemRoom().module
