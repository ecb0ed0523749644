"""A board whose position reports are off by some steps: raw traces of both dialects, changed on their way."""

from __future__ import annotations

import re

_POSITION = re.compile(rb"([MW]Pos:)([-\d.,]+)")
_COUNTS = re.compile(rb"(Count )(.*)")
_NUMBER = re.compile(rb"(:)(-?\d+)")


def off_by(data: bytes, steps: int, steps_per_unit: float) -> bytes:
    """`data` with every reported position `steps` further on, in units of `steps_per_unit` or as a count."""

    def moved(match: re.Match[bytes]) -> bytes:
        numbers = [float(number) + steps / steps_per_unit for number in match[2].split(b",")]
        return match[1] + ",".join(f"{number:.3f}" for number in numbers).encode()

    def counted(match: re.Match[bytes]) -> bytes:
        return match[1] + _NUMBER.sub(lambda number: b":%d" % (int(number[2]) + steps), match[2])

    return _COUNTS.sub(counted, _POSITION.sub(moved, data))
