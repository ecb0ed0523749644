import json
from pathlib import Path

import pytest

from firmware_host.clock import VirtualClock
from firmware_host.controller.port.trace import FileTrace, TraceKind
from firmware_host.errors import JournalError


def test_every_record_is_in_the_file_at_once_and_gives_its_bytes_back(tmp_path: Path) -> None:
    clock = VirtualClock()
    path = tmp_path / "wire.jsonl"
    trace = FileTrace(path, clock)
    every_byte = bytes(range(256))
    trace.record(TraceKind.SENT, b"$$\n")
    clock.sleep(0.25)
    trace.record(TraceKind.UNMATCHED, every_byte)
    first, second = [json.loads(line) for line in path.read_text("ascii").splitlines()]  # not closed yet
    assert first == {"at_s": 0.0, "at": "2026-01-01T00:00:00.000+00:00", "kind": "sent", "text": "$$\n"}
    assert second["at_s"] == 0.25
    assert second["text"].encode("latin-1") == every_byte
    trace.close()
    trace.close()


def test_a_second_trace_continues_where_the_first_ended(tmp_path: Path) -> None:
    for text in (b"one", b"two"):
        trace = FileTrace(tmp_path / "wire.jsonl", VirtualClock())
        trace.record(TraceKind.RECEIVED, text)
        trace.close()
    lines = (tmp_path / "wire.jsonl").read_text("ascii").splitlines()
    assert [json.loads(line)["text"] for line in lines] == ["one", "two"]


def test_a_closed_trace_and_a_missing_folder_are_told(tmp_path: Path) -> None:
    trace = FileTrace(tmp_path / "wire.jsonl", VirtualClock())
    trace.close()
    with pytest.raises(JournalError, match="the trace is closed"):
        trace.record(TraceKind.SENT, b"?")
    with pytest.raises(JournalError, match="cannot be opened"):
        FileTrace(tmp_path / "missing" / "wire.jsonl", VirtualClock())
