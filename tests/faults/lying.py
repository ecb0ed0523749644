"""A board whose position reports are off by some steps: raw traces of both dialects, changed on their way."""

from __future__ import annotations

import re

_POSITION = re.compile(rb"([MW]Pos:)([-\d.,]+)")
_DECIMAL = re.compile(rb"-?\d+\.\d+")
_COUNTS = re.compile(rb"(Count )(.*)")
_COUNT_ALONE = re.compile(rb"([A-Z]S:)(-?\d{1,9})")
_COUNT = re.compile(rb":(-?\d{1,9})")


def off_by(data: bytes, steps: int, steps_per_unit: float) -> bytes:
    """`data` with every reported position `steps` further on, in units of `steps_per_unit` or as a count."""

    def moved(match: re.Match[bytes]) -> bytes:
        return match[1] + _DECIMAL.sub(lambda number: b"%.3f" % (float(number[0]) + steps / steps_per_unit), match[2])

    def counted(match: re.Match[bytes]) -> bytes:
        return match[1] + _COUNT.sub(lambda number: b":%d" % (int(number[1]) + steps), match[2])

    def on_a_line(match: re.Match[bytes]) -> bytes:
        return match[1] + b"%d" % (int(match[2]) + steps)

    return _COUNT_ALONE.sub(on_a_line, _COUNTS.sub(counted, _POSITION.sub(moved, data)))
