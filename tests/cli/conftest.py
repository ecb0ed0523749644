"""Every test of the front door works in a folder of its own, with folders of its own for settings and state."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.command import Ended, call

Circumstep = Callable[..., Ended]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in ("XDG_STATE_HOME", "XDG_CONFIG_HOME", "XDG_RUNTIME_DIR"):
        folder = tmp_path / name.lower()
        folder.mkdir(mode=0o700)
        monkeypatch.setenv(name, str(folder))
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def circumstep() -> Circumstep:
    """Runs the command line in this process: `circumstep("segments", JOB)`."""
    return call
