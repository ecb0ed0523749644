"""Every format in which the moves of a job can be exported. A new one is a file beside this and a line here."""

from __future__ import annotations

from firmware_host.errors import InputError
from firmware_host.reporting.export.base import MoveFormat
from firmware_host.reporting.export.csv import CsvFormat
from firmware_host.reporting.export.json import JsonFormat
from firmware_host.reporting.export.rs274 import Rs274Format

FORMATS: list[MoveFormat] = [Rs274Format(), CsvFormat(), JsonFormat()]


def move_format(name: str) -> MoveFormat:
    """The format of this name. Raises `InputError` if there is none."""
    for each in FORMATS:
        if each.name == name:
            return each
    known = ", ".join(("table", *(each.name for each in FORMATS)))
    raise InputError(f"no format {name!r}", f"Known: {known}", key="--format")
