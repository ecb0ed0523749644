"""A job of three segments for the command line, and folders of its own for a test that runs it."""

from __future__ import annotations

from pathlib import Path

import pytest

JOB = """\
version = 1
name = "three segments"
machine = "belt-chuck"
[part]
kind = "solid"
diameter = "50 mm"
length = "120 mm"
mass = "1.85 kg"
mass_offset = "0.1 mm"
overhang = "60 mm"
[mark]
arc = "30 mm"
[window]
half_depth = "0.5 mm"
"""


def own_folders(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep what commands store below `folder`, and go there."""
    for name in ("XDG_STATE_HOME", "XDG_CONFIG_HOME", "XDG_RUNTIME_DIR"):
        (folder / name).mkdir(mode=0o700)
        monkeypatch.setenv(name, str(folder / name))
    monkeypatch.chdir(folder)
