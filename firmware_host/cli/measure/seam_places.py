"""Gaps and overlaps as they are written on the command line: at which seam, and where along it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from firmware_host.cli.input.quantities import signed_value
from firmware_host.commissioning.marks.comb import gap_between, gap_by, read_to
from firmware_host.commissioning.seam.marked import MarkedPart
from firmware_host.commissioning.seam.readings import SeamReading
from firmware_host.errors import InputError

_WRITTEN = re.compile(r"(?:(each|closing|[0-9]{1,6})(?:@(left|right|middle))?=)?(.+)", re.DOTALL)
_NUMBER = re.compile(r"[+-]?[0-9]{1,3}(\.5)?")
"""Of the lines that meet; a half lies between two."""
_PAIR = re.compile(r"([+-]?[0-9]{1,3})(?:/([+-]?[0-9]{1,3}))?")
_PLACES = {None: 0, "middle": 0, "left": -1, "right": 1}
_MOST = 200


def seam_readings(
    part: MarkedPart, written: Iterable[str], within: float, sign: int, option: str
) -> Iterator[SeamReading]:
    """The readings of `option`: `sign` 1 for gaps, -1 for overlaps. Raises `InputError` for a seam that isn't there.

    A length without a seam stands for each seam inside the mark, read one by one.
    """
    for text in written:
        match = _WRITTEN.fullmatch(text.strip())
        size = signed_value(match[3], "length", option) if match is not None else None
        if match is None or size is None:
            raise InputError(f"{text!r} is no reading", 'Write it like "0.1 mm", or "3=0.1 mm"', key=option)
        for seam in _seams(part, match[1], option):
            yield SeamReading(within, sign * size, seam, _PLACES[match[2]])


def vernier_readings(part: MarkedPart, written: Iterable[str], spacing: float) -> Iterator[SeamReading]:
    """The readings of `--vernier`: the number of the lines that meet, a tenth of `spacing` (m) each."""
    for text in written:
        where, _, number = text.strip().rpartition("=")
        if not _NUMBER.fullmatch(number):
            problem, remedy = f"{text!r} is no reading", 'Write it like "1=+4", the lines from -10 to 10'
            raise InputError(problem, remedy, key="--vernier")
        gap = gap_by(float(number), spacing)
        for seam in _seams(part, where or None, "--vernier"):
            yield SeamReading(read_to(spacing), gap, seam)


def closing_reading(part: MarkedPart, written: str, spacing: float) -> Iterator[SeamReading]:
    """The reading of `--closing`, if there is one: "5/4", or one number where lines of the same number meet."""
    if not written:
        return
    match = _PAIR.fullmatch(written.strip())
    if match is None:
        problem, remedy = (
            f"{written!r} is no reading",
            'Write it like "5/4": the last segment\'s line, and that it meets',
        )
        raise InputError(problem, remedy, key="--closing")
    first = int(match[1])
    gap = gap_between(first, int(match[2]) if match[2] else first, spacing)
    for seam in _seams(part, "closing", "--closing"):
        yield SeamReading(read_to(spacing), gap, seam)


def _seams(part: MarkedPart, where: str | None, option: str) -> Iterable[int]:
    count = part.pitches.size
    if where is None or where == "each":
        return range(1, part.inner + 1)[:_MOST]
    if where == "closing":
        if not part.closing:
            remedy = "Leave it out: the mark does not go all the way round"
            raise InputError("there is no closing seam", remedy, key=option)
        return (count,)
    if not where.isdecimal() or not 1 <= int(where) <= count:
        raise InputError(f"there is no seam {where}", f"There are {count}: 1 to {count}", key=option)
    return (int(where),)
