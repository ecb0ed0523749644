"""How many lines a journal must have: kept beside it, so that lines which were on the disk can't be lost unseen.

A journal cut at a line end looks whole. The tally is written after each line and before the act that the line
announces; so a journal may have a line or two more than its tally (a crash between the two), but never fewer.
"""

from __future__ import annotations

import errno
import os
import zlib
from pathlib import Path

from firmware_host.errors import DamagedRunError, MissingFileError, UnreadableFileError
from firmware_host.system.files import RecordFile, read_regular

_SLOT_BYTES = 32
_SLOTS = 2


class Tally:
    """Writes the tally beside a journal, in two places by turns: one of them is whole at any time."""

    def __init__(self, journal: Path) -> None:
        self._file = RecordFile(tally_path(journal))

    def note(self, lines: int) -> None:
        """The journal has `lines` lines; returns when that is on the disk. Raises `OSError`."""
        self._write(_slot(lines), lines)
        self._file.sync()

    def take_back(self, lines: int) -> None:
        """Line `lines` is taken out of the journal again. Raises `OSError`."""
        self._write(bytes(_SLOT_BYTES), lines)

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def _write(self, slot: bytes, lines: int) -> None:
        if self._file.write_at(slot, lines % _SLOTS * _SLOT_BYTES) != len(slot):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def tally_path(journal: Path) -> Path:
    """Where the tally of a journal is."""
    return journal.with_name(f"{journal.name}.tally")


def lines_noted(journal: Path) -> int:
    """How many lines the journal had at least; 0 if nothing is noted (a journal that was copied alone).

    Raises `JournalError` where something else than a tally stands in its place.
    """
    path = tally_path(journal)
    try:
        data = read_regular(path, _SLOTS * _SLOT_BYTES, links=False)
    except MissingFileError:
        return 0
    except UnreadableFileError as error:
        raise DamagedRunError(str(path), error.problem) from error
    slots = [data[place : place + _SLOT_BYTES] for place in range(0, len(data), _SLOT_BYTES)]
    return max((_lines(slot) for slot in slots), default=0)


def _slot(lines: int) -> bytes:
    text = b"%012d" % lines
    return (b"%s %08x\n" % (text, zlib.crc32(text))).ljust(_SLOT_BYTES, b"\0")


def _lines(slot: bytes) -> int:
    """What a slot holds; 0 if it isn't whole."""
    text = slot[:12]
    return int(text) if text.isdigit() and slot == _slot(int(text)) else 0
