"""Which segments of a job a run marks, and how many passes of each."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from firmware_host.errors import InputError

_MOST = 100_000
_ONWARD = re.compile("([0-9]{1,9})-")
_PIECE = re.compile(r"([0-9]{1,9})(?:-([0-9]{1,9}))?")


@dataclass(frozen=True)
class PassChoice:
    """The segments to mark, from 1; None: all of them, from segment `first` on.

    `passes` of each, None: as many as the job says.
    """

    segments: tuple[int, ...] | None = None
    first: int = 1
    passes: int | None = None

    @classmethod
    def only(cls, segments: str | Iterable[int], passes: int | None = None, *, key: str = "segments") -> PassChoice:
        """Only these segments: numbers, or a text such as "3", "2-4", "1,3-5" or "4-" (from 4 on).

        Raises `InputError`, of `key`.
        """
        if isinstance(segments, str) and (onward := _ONWARD.fullmatch(segments.strip())) is not None:
            return cls(first=int(onward[1]), passes=passes)
        chosen = segments_of(segments, key=key) if isinstance(segments, str) else tuple(sorted(set(segments)))
        return cls(chosen, passes=passes)

    def of(self, segments: int, passes: int, *, key: str = "segments") -> tuple[tuple[int, ...], int]:
        """The segments to mark and the passes of each, of a job with so many.

        Raises `InputError` for a segment that the job does not have, for none at all, and for no pass.
        """
        chosen = self.segments
        if chosen is None:
            chosen = tuple(range(self.first, segments + 1)) or (self.first,)
        if not chosen:
            raise InputError("no segment is chosen", f"Name some of 1 to {segments}", key=key)
        unknown = [number for number in chosen if not 1 <= number <= segments]
        if unknown:
            problem = f"there is no segment {unknown[0]}: the job has {segments}"
            raise InputError(problem, f"Name segments from 1 to {segments}", key=key)
        if self.passes is not None and self.passes < 1:
            raise InputError(f"{self.passes} passes are none", "Say 1 or more", key="passes")
        return chosen, passes if self.passes is None else self.passes


EVERY_PASS = PassChoice()
"""The whole job."""


def segments_of(text: str, *, key: str = "segments") -> tuple[int, ...]:
    """The segments that a text names ("3", "2-4", "1,3-5"), in order, each once. Raises `InputError`."""
    chosen: set[int] = set()
    for piece in text.split(","):
        found = _PIECE.fullmatch(piece.strip())
        if found is None:
            raise InputError(f"{text!r} names no segments", 'Write them as "3", "2-4" or "1,3-5"', key=key)
        first, last = int(found[1]), int(found[2] or found[1])
        if last < first:
            raise InputError(f"{piece.strip()!r} runs backward", f"Write {last}-{first}", key=key)
        if last - first >= _MOST:
            raise InputError(f"{piece.strip()!r} names too many segments", "Name those that the job has", key=key)
        chosen.update(range(first, last + 1))
    return tuple(sorted(chosen))


def ranges_text(segments: Iterable[int]) -> str:
    """Segments as a person writes them: "1, 3-5"."""
    runs: list[list[int]] = []
    for number in sorted(set(segments)):
        if runs and number == runs[-1][-1] + 1:
            runs[-1] = [runs[-1][0], number]
        else:
            runs.append([number])
    return ", ".join("-".join(map(str, run)) for run in runs)
