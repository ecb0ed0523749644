"""The exact angles of a job's segments, and their targets after any number of whole turns has been taken back."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import accumulate

import numpy as np

from firmware_host.planning.layout.segments import SegmentBlock
from firmware_host.planning.steps import Steps, round_half_even, round_progression


@dataclass(frozen=True)
class SegmentAngles:
    """Angle of each segment (exact turns of the part from the job's zero), in order; indexes count from 0.

    The target of angle theta after `turns` whole turns were taken back is round(S*(theta - turns)), S the exact number
    of microsteps per turn: no whole turn need be a whole number of microsteps, and no error is ever carried on.
    """

    blocks: tuple[SegmentBlock, ...]

    @cached_property
    def _ends(self) -> tuple[int, ...]:
        return tuple(accumulate(block.count for block in self.blocks))

    @property
    def count(self) -> int:
        """How many segments."""
        return self._ends[-1]

    def angle(self, index: int) -> Fraction:
        """Angle of a segment in turns. Raises IndexError outside 0 .. count-1."""
        if not 0 <= index < self.count:
            raise IndexError(f"segment index {index} is not in 0 .. {self.count - 1}")
        place = bisect_right(self._ends, index)
        block = self.blocks[place]
        return block.first + (index - self._ends[place] + block.count) * block.pitch

    def extremes(self, start: int, stop: int) -> tuple[Fraction, Fraction]:
        """Smallest and largest angle in turns among the segments `start` .. `stop`-1 (at least one), exactly."""
        # Within a block angles are equally spaced, so they are extreme at its ends.
        places = [start, stop - 1]
        for end in self._ends:
            places += [place for place in (end - 1, end) if start <= place < stop]
        angles = [self.angle(place) for place in set(places)]
        return min(angles), max(angles)

    def target(self, index: int, per_turn: Fraction, turns: int = 0) -> int:
        """Target of one segment in microsteps from the job's zero, ties to even."""
        return round_half_even((self.angle(index) - turns) * per_turn)

    def targets(self, per_turn: Fraction, turns: int = 0, start: int = 0, stop: int | None = None) -> Steps:
        """Targets of the segments `start` .. `stop`-1 (by default to the end): int64, shape (stop - start,)."""
        stop = self.count if stop is None else min(stop, self.count)
        parts = []
        for block, end in zip(self.blocks, self._ends, strict=True):
            begin = end - block.count
            first, last = max(start, begin), min(stop, end)
            if first < last:
                angle = block.first if first == begin else block.first + (first - begin) * block.pitch
                angle = angle - turns if turns else angle
                parts.append(round_progression(angle * per_turn, block.pitch * per_turn, last - first))
        return np.concatenate(parts) if parts else np.zeros(0, dtype=np.int64)
