"""Files of Windows, on stand-ins that open in text mode, sync no folder and refuse to replace what somebody reads."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.system.conftest import Topic

EVERY_BYTE = bytes(range(256)) + b"one\r\ntwo\n\x1athree\n"


@pytest.fixture
def files(on_windows: Topic) -> Any:
    return on_windows("files")


def test_every_byte_comes_back_as_it_was_written(files: Any, tmp_path: Path) -> None:
    path = tmp_path / "whole"
    files.write_whole(path, EVERY_BYTE)
    assert path.read_bytes() == files.read_regular(path, 1000) == EVERY_BYTE
    with files.RecordFile(tmp_path / "record") as record:
        assert record.append(EVERY_BYTE) == len(EVERY_BYTE)
        assert record.write_at(b"\n", 0) == 1
        record.sync()
    assert (tmp_path / "record").read_bytes() == b"\n" + EVERY_BYTE[1:]


def test_a_file_that_somebody_reads_is_replaced_as_soon_as_it_is_closed(files: Any, tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"old")
    waits: list[float] = []
    with path.open("rb") as reader:

        def pause(wait_s: float) -> None:
            waits.append(wait_s)
            if len(waits) == 3:
                reader.close()

        files.write_whole(path, "new\n", pause=pause)
    assert len(waits) == 3
    assert path.read_bytes() == b"new\n"


def test_a_file_that_stays_open_keeps_its_content_and_nothing_is_left_beside_it(files: Any, tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"old")
    waits: list[float] = []
    with path.open("rb"), pytest.raises(PermissionError, match="Access is denied"):
        files.write_whole(path, "new", pause=waits.append)
    assert 0.5 < sum(waits) <= 2
    assert path.read_bytes() == b"old"
    assert [each.name for each in tmp_path.iterdir()] == ["file"]


def test_a_folder_is_neither_read_nor_synced(files: Any, tmp_path: Path) -> None:
    files.sync_folder(tmp_path)
    with pytest.raises(Exception, match="is not a plain file, but a folder"):
        files.read_regular(tmp_path, 100)
