"""The part laid flat as the page draws it: a cell for each segment, or for a few neighbours, and what is done of it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from firmware_host.planning.plan import JobPlan

MOST_CELLS = 360
"""More segments than these share cells: nobody tells thinner ones apart."""
NOT_ASKED, TO_DO, PARTLY, DONE = "n", "t", "p", "d"

Passes = tuple[int, int]
"""How many passes of a segment are done, and of how many."""


class Surface:
    """The segments of a part, in order around it. `passes`: of each that the run is asked for, by its number (from 1).

    `number` tells one surface from another: a batch has one for each `part`; None for a run of its own.
    """

    def __init__(self, plan: JobPlan, passes: Mapping[int, Passes], number: int, part: int | None = None) -> None:
        self.number, self.part = number, part
        self._count = plan.segments.count
        self._together = math.ceil(self._count / MOST_CELLS)
        self._passes = dict(passes)
        centres = (plan.segments.centres_deg() / 360 - float(plan.segments.start)).tolist()
        halves = (plan.segments.widths_deg() / 720).tolist()
        self._ends = [(centre - half, centre + half) for centre, half in zip(centres, halves, strict=True)]

    def mark(self, segment: int, done: int, of: int) -> None:
        """So many passes of a segment are done now, of so many."""
        self._passes[segment] = (done, of)

    def shape(self) -> dict[str, Any]:
        """What stays as it is: `cells`, each from where to where around, from the mark's beginning (turns).

        `each`: how many segments share a cell, the last one may have fewer.
        """
        cells = [
            (round(min(low for low, _ in group), 6), round(max(high for _, high in group), 6))
            for group in (self._ends[first : first + self._together] for first in range(0, self._count, self._together))
        ]
        return {"number": self.number, "segments": self._count, "each": self._together, "cells": cells}

    def letters(self) -> str:
        """What is done of each cell, a letter each: n not asked for, t to do, p partly done, d done."""
        return "".join(
            self._letter(range(first, min(first + self._together, self._count + 1)))
            for first in range(1, self._count + 1, self._together)
        )

    def cell_of(self, segment: int) -> int | None:
        """In which cell, from 0, a segment lies; None for one that there is not."""
        return (segment - 1) // self._together if 1 <= segment <= self._count else None

    def _letter(self, segments: range) -> str:
        asked = [self._passes[segment] for segment in segments if segment in self._passes]
        done, of = sum(each for each, _ in asked), sum(each for _, each in asked)
        if of == 0:
            return NOT_ASKED
        return DONE if done == of else PARTLY if done else TO_DO
