"""How many lines a journal must have: kept beside it, so that lines which were on the disk can't be lost unseen.

A journal cut at a line end looks whole. The tally is written after each line and before the act that the line
announces; so a journal may have one line more than its tally (a crash between the two), but never fewer.
"""

from __future__ import annotations

import os
import zlib
from pathlib import Path

_SLOT_BYTES = 32
_SLOTS = 2


class Tally:
    """Writes the tally beside a journal, in two places by turns: one of them is whole at any time."""

    def __init__(self, journal: Path) -> None:
        self._file = os.open(tally_path(journal), os.O_WRONLY | os.O_CREAT | os.O_NOFOLLOW, 0o644)

    def note(self, lines: int) -> None:
        """The journal has `lines` lines; returns when that is on the disk. Raises `OSError`."""
        os.pwrite(self._file, _slot(lines), lines % _SLOTS * _SLOT_BYTES)
        os.fsync(self._file)

    def take_back(self, lines: int) -> None:
        """Line `lines` is taken out of the journal again. Raises `OSError`."""
        os.pwrite(self._file, bytes(_SLOT_BYTES), lines % _SLOTS * _SLOT_BYTES)

    def close(self) -> None:
        """Close the file."""
        os.close(self._file)


def tally_path(journal: Path) -> Path:
    """Where the tally of a journal is."""
    return journal.with_name(f"{journal.name}.tally")


def lines_noted(journal: Path) -> int:
    """How many lines the journal had at least; 0 if nothing is noted (a journal that was copied alone)."""
    try:
        with tally_path(journal).open("rb") as file:
            data = file.read(_SLOTS * _SLOT_BYTES)
    except OSError:
        return 0
    slots = [data[place : place + _SLOT_BYTES] for place in range(0, len(data), _SLOT_BYTES)]
    return max((_lines(slot) for slot in slots), default=0)


def _slot(lines: int) -> bytes:
    text = b"%012d" % lines
    return (b"%s %08x\n" % (text, zlib.crc32(text))).ljust(_SLOT_BYTES, b"\0")


def _lines(slot: bytes) -> int:
    """What a slot holds; 0 if it isn't whole."""
    text = slot[:12]
    return int(text) if text.isdigit() and slot == _slot(int(text)) else 0
