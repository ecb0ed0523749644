import os
from pathlib import Path

import pytest

from firmware_host.controller.settings.backup import SettingsBackup, load_backup, save_backup
from firmware_host.errors import InputError, UnreadableFileError
from tests.support import windows

BACKUP = SettingsBackup("status-query", "loop", "2026-01-01T00:00:00+00:00", {"$100": "26.667", "$1": "25"})


def test_a_backup_comes_back_as_it_was_saved(tmp_path: Path) -> None:
    save_backup(tmp_path / "old.json", BACKUP)
    assert load_backup(tmp_path / "old.json") == BACKUP
    assert [path.name for path in tmp_path.iterdir()] == ["old.json"]


def test_an_earlier_backup_is_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "old.json"
    save_backup(path, BACKUP)
    before = path.read_bytes()
    with pytest.raises(InputError, match="a backup of this name exists already"):
        save_backup(path, SettingsBackup("status-query", "loop", "later", {}))
    assert path.read_bytes() == before


@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_a_failure_while_saving_leaves_no_half_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str) -> None:
    def fail(*_: object) -> None:
        raise OSError("disk full")

    monkeypatch.setattr(os, call, fail)
    with pytest.raises(UnreadableFileError, match="cannot be written: disk full"):
        save_backup(tmp_path / "old.json", BACKUP)
    assert list(tmp_path.iterdir()) == []


def test_file_and_folder_are_on_the_disk_before_saving_is_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    order: list[str] = []
    fsync, replace = os.fsync, os.replace

    def note_fsync(handle: int) -> None:
        order.append("folder" if Path(f"/proc/self/fd/{handle}").resolve() == tmp_path.resolve() else "file")
        fsync(handle)

    def note_replace(temporary: Path, target: Path) -> None:
        order.append("put in place")
        replace(temporary, target)

    monkeypatch.setattr(os, "fsync", note_fsync)
    monkeypatch.setattr(os, "replace", note_replace)
    save_backup(tmp_path / "old.json", BACKUP)
    assert order == [
        "file",
        "put in place",
        *([] if windows.wanted() else ["folder"]),
    ]  # which can't be opened there


def test_a_backup_cut_short_anywhere_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "old.json"
    save_backup(path, BACKUP)
    whole = path.read_bytes().rstrip()
    for length in range(len(whole)):
        path.write_bytes(whole[:length])
        with pytest.raises(UnreadableFileError, match="is not valid JSON"):
            load_backup(path)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("[]", "is not a controller-settings file"),
        ('{"kind": "controller-settings", "version": 2}', "of version 1"),
        ('{"kind": "controller-settings", "version": 1, "settings": {"$1": 5}}', "are not texts"),
    ],
    ids=["list", "later-version", "number"],
)
def test_a_file_that_is_no_backup_is_refused(tmp_path: Path, text: str, complaint: str) -> None:
    path = tmp_path / "other.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UnreadableFileError, match=complaint):
        load_backup(path)
