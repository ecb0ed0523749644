"""A settings file as a bad disk or a bad editor leaves it: read, or one clear error, and never in the others' way."""

from __future__ import annotations

import json
import os
import random
import shutil
from pathlib import Path
from typing import Any

import pytest

from firmware_host.controller.settings.backup import SettingsBackup, load_backup, save_backup
from firmware_host.errors import UnreadableFileError
from firmware_host.station.settings.restore import newest_backup
from tests.station.runs.hostile import VALUES, instead

BACKUP = SettingsBackup("status-query", "PORT", "2026-01-01T00:00:00+00:00", {"$100": "26.667", "$1": "25"})
MARK = "\x07 here \x07"


def hostile(path: Path, draw: random.Random) -> None:
    """Another value somewhere, other bytes, more of them than any controller has settings, or no file at all."""
    act = draw.choice(["value", "value", "value", "bytes", "long", "thing"])
    if act == "value":
        document: dict[str, Any] = json.loads(path.read_bytes())
        place = draw.choice([document, document["settings"], document["in_full"]])
        place[draw.choice([*place, "new"])] = MARK
        path.write_text(json.dumps(document).replace(json.dumps(MARK), draw.choice(VALUES)), encoding="utf-8")
    elif act == "bytes":
        data = bytearray(path.read_bytes())
        for _ in range(draw.randrange(1, 6)):
            data[draw.randrange(len(data))] = draw.randrange(256)
        path.write_bytes(data)
    elif act == "long":
        path.write_bytes(draw.choice([b"[", b" ", b'{"a":', b"\0"]) * draw.choice([100_000, 2_000_000]))
    else:
        instead(path, draw.choice(["pipe", "folder", "link", "device", "nothing"]))


def outcome(path: Path) -> str:
    try:
        load_backup(path)
    except UnreadableFileError as error:
        return "refused" if len(str(error)) < 500 + len(str(path)) else f"refused at length: {error}"
    return "read"


@pytest.mark.parametrize("count", [150, pytest.param(3000, marks=pytest.mark.slow)], ids=["sample", "whole"])
@pytest.mark.timeout(300)
def test_every_drawn_settings_file_is_read_or_refused_and_leaves_the_whole_one_to_be_found(
    count: int, tmp_path: Path
) -> None:
    kept, outcomes = tmp_path / "kept", set[str]()
    kept.mkdir()
    save_backup(kept / "whole.json", BACKUP)
    for seed in range(count):
        path = kept / "hostile.json"
        save_backup(path, SettingsBackup("status-query", "OTHER", "later", dict(BACKUP.settings)))
        hostile(path, random.Random(seed))
        outcomes.add(outcome(path))
        assert newest_backup(kept, "PORT") == kept / "whole.json"
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        elif os.path.lexists(path):
            path.unlink()
    assert outcomes == {"read", "refused"}
