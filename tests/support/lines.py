"""The lines on which a simulated controller is served in tests."""

from __future__ import annotations

from typing import Literal

import pytest

Kind = Literal["pty", "socket"]

PTY = pytest.param("pty", id="pty", marks=pytest.mark.posix("a pseudo-terminal"))
LINES = (PTY, pytest.param("socket", id="socket"))
EACH_LINE = pytest.mark.parametrize("kind", LINES)
