"""Gaps and overlaps as they are written on the command line: at which seam, and where along it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from firmware_host.cli.input.quantities import signed_value
from firmware_host.commissioning.seam.marked import MarkedPart
from firmware_host.commissioning.seam.readings import SeamReading
from firmware_host.errors import InputError

_WRITTEN = re.compile(r"(?:(each|closing|[0-9]{1,6})(?:@(left|right|middle))?=)?(.+)", re.DOTALL)
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


def _seams(part: MarkedPart, where: str | None, option: str) -> Iterable[int]:
    count = part.pitches.size
    if where is None or where == "each":
        return range(1, part.inner + 1)[:_MOST]
    if where == "closing":
        if not part.closing:
            remedy = "Leave it out: the mark does not go all the way round"
            raise InputError("there is no closing seam", remedy, key=option)
        return (count,)
    if not 1 <= int(where) <= count:
        raise InputError(f"there is no seam {where}", f"There are {count}: 1 to {count}", key=option)
    return (int(where),)
