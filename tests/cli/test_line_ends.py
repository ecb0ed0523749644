"""What is printed as a file has the line ends of that file, once, also where standard output changes them."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest

from firmware_host.cli.main import run
from firmware_host.errors import EXIT_DONE

COMMANDS = {
    "moves": ["moves", "shaft-scale", "--format", "csv"],
    "motors": ["motors", "shaft-scale", "--csv"],
    "sweep": ["limits", "shaft-scale", "--sweep", "index.speed=400 deg/s..500 deg/s:2", "--csv"],
}


def printed(command: list[str], monkeypatch: pytest.MonkeyPatch) -> bytes:
    """Its standard output as Windows writes it: each line feed becomes two bytes."""
    out = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(out, encoding="cp1252", newline="\r\n"))
    assert run(command) == EXIT_DONE
    sys.stdout.flush()
    return out.getvalue()


@pytest.mark.parametrize("command", COMMANDS.values(), ids=COMMANDS)
def test_csv_has_a_carriage_return_and_a_line_feed_once(command: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    lines = printed(command, monkeypatch).split(b"\r\n")
    assert len(lines) > 2
    assert not any(b"\r" in line or b"\n" in line for line in lines)


def test_a_saved_file_has_the_bytes_that_are_printed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shown = printed(COMMANDS["moves"], monkeypatch)
    assert run([*COMMANDS["moves"], "--output", str(tmp_path / "moves.csv")]) == EXIT_DONE
    assert (tmp_path / "moves.csv").read_bytes() == shown
