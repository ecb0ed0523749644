"""A journal as anybody reads it: line by line, each one a JSON document."""

from __future__ import annotations

import json
import zlib
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any


def journal_lines(path: Path) -> list[dict[str, Any]]:
    """Every whole line of a journal, as it stands in the file."""
    *lines, _torn = path.read_bytes().split(b"\n")
    return [json.loads(line) for line in lines]


def sealed(entry: Mapping[str, Any]) -> bytes:
    """A line with its checksum, the CRC-32 of the line without it."""
    text = json.dumps({key: value for key, value in entry.items() if key != "sum"}, separators=(",", ":"))
    return f'{text[:-1]},"sum":"{zlib.crc32(text.encode()):08x}"}}\n'.encode()


def as_schema1(path: Path, *, without: Collection[str] = ()) -> None:
    """Rewrite a journal as version 0.1 wrote it; `without`: keys that versions before that left out."""
    gone = {"position", "overrun", "only", "redo_of", *without}
    path.write_bytes(b"".join(sealed(_old(line, gone)) for line in journal_lines(path)))


def _old(line: Mapping[str, Any], gone: Collection[str]) -> dict[str, Any]:
    old = {key: value for key, value in line.items() if key not in gone and value is not None}
    if old["event"] == "standstill":
        old["event"] = "at-rest"
    if "schema" in old and old["event"] == "resume":
        del old["schema"]
    return old | ({"schema": 1} if old["event"] == "begin" else {})
