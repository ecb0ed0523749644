"""What a backup knows of itself: its machine, and where its board is now."""

from __future__ import annotations

from pathlib import Path

import pytest

from firmware_host.acts import FindControllers, RestoreSettings
from firmware_host.controller.settings.backup import SettingsBackup, load_backup, save_backup
from firmware_host.errors import InputError, PortUnavailableError
from firmware_host.model import load_machine
from firmware_host.station.settings.restore import kept_settings
from firmware_host.station.settings.write import kept_machine
from tests.support.plugged import plug

SAVED_AT = "2026-01-02T00:00:00+00:00"
MACHINE = load_machine("belt-chuck")


def saved(folder: Path, url: str = "/dev/ttyUSB7") -> Path:
    path = folder / "old.json"
    kept = kept_machine(MACHINE, "belt-chuck", 9600)
    save_backup(path, SettingsBackup("status-query", url, SAVED_AT, {"$103": "1.000"}, machine=kept))
    return path


def test_the_file_knows_machine_line_speed_and_port(tmp_path: Path) -> None:
    kept = kept_settings(saved(tmp_path, "socket://127.0.0.1:9"))
    link = MACHINE.link.model_copy(update={"baud": 9600})
    assert kept.machine == MACHINE.model_copy(update={"link": link})
    assert (kept.source, kept.url) == ("belt-chuck", "socket://127.0.0.1:9")
    given = kept_settings(kept.path, machine=MACHINE, source="mine.toml", port="socket://127.0.0.1:8")
    assert (given.machine, given.source, given.url) == (MACHINE, "mine.toml", "socket://127.0.0.1:8")


def test_a_board_that_is_at_another_port_now_is_told_with_the_port(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plug(monkeypatch, ttyUSB7="A10K9X2P", ttyUSB8="B11L0Y3Q")
    path = saved(tmp_path)
    assert kept_settings(path).url == "/dev/ttyUSB7"
    plug(monkeypatch, ttyUSB7="B11L0Y3Q", ttyUSB8="A10K9X2P")
    with pytest.raises(PortUnavailableError, match="the controller of the backup is at /dev/ttyUSB8 now") as moved:
        kept_settings(path)
    assert moved.value.acts == (RestoreSettings(str(path), "/dev/ttyUSB8"),)
    assert kept_settings(path, port="/dev/ttyUSB8").url == "/dev/ttyUSB8"


@pytest.mark.parametrize("there", ["B11L0Y3Q", None], ids=["another-board", "a-board-without-a-number"])
def test_another_board_at_the_port_is_not_written_to(
    there: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plug(monkeypatch, ttyUSB7="A10K9X2P")
    path = saved(tmp_path)
    plug(monkeypatch, ttyUSB7=there)
    with pytest.raises(PortUnavailableError, match="the controller of the backup is not there") as gone:
        kept_settings(path)
    assert gone.value.acts == (FindControllers(), RestoreSettings(str(path), "PORT"))


def test_a_machine_that_cannot_be_read_is_told_with_its_key(tmp_path: Path) -> None:
    path = saved(tmp_path)
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"letter": "A"', '"letter": "AA"'), encoding="utf-8")
    with pytest.raises(InputError, match=r"old\.json.*axis\.letter"):
        kept_settings(path)
    path.write_text(text.replace('"machine": {', '"machine": [], "x": {'), encoding="utf-8")
    with pytest.raises(InputError, match="its machine is no table"):
        load_backup(path)
