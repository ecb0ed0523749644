"""Whole turns taken back between segments, so that no coordinate grows beyond what can be proved or travelled.

A part stands the same after any whole number of turns, so a target beyond the reach of the controller's arithmetic (or
of a cable) is replaced by the one whole turns before or behind it. A stretch is a run of segments with the same number
of turns taken back; between two stretches the axis unwinds. Turns count as taken back from the job's zero: positive
ones make coordinates smaller.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from fractions import Fraction
from typing import NamedTuple

import numpy as np

from firmware_host.errors import PlanError
from firmware_host.model.machine.machine import Axis
from firmware_host.planning.route.angles import SegmentAngles

UNWIND_FIX = 'let the axis take whole turns back: axis.unwind = "whole-turns" in the machine file, which says "never"'
"""Ends the fix of a job that is refused because no turns may be taken back."""
_HALF = Fraction(1, 2)
_FIRST_LOOK = 256
_LONGEST_LOOK = 1 << 16
_MOST_LOST = 1000


class Span(NamedTuple):
    """Where the axis may be: `lowest` <= position <= `highest`, in microsteps from the job's zero."""

    lowest: int
    highest: int

    @classmethod
    def around_zero(cls, reach: int, origin: int) -> Span:
        """Up to `reach` machine steps (>= 0) from machine zero, for a job whose zero is at machine step `origin`."""
        return cls(-reach - origin, reach - origin)

    @classmethod
    def of_travel(cls, axis: Axis, per_turn: Fraction, origin: int) -> Span | None:
        """The travel of a cable-wound axis, which counts from machine zero; None if the axis is endless.

        `origin` counts as the mark runs: with the other sign than the controller's, if the axis is reversed.
        """
        travel = axis.travel
        if travel == "endless":
            return None
        ends = travel.lowest.exact * per_turn * axis.sign, travel.highest.exact * per_turn * axis.sign
        lowest, highest = min(ends), max(ends)
        return cls(math.ceil(lowest) - origin, math.floor(highest) - origin)

    def within(self, other: Span | None) -> Span:
        """What both allow."""
        if other is None:
            return self
        return Span(max(self.lowest, other.lowest), min(self.highest, other.highest))

    def holds(self, lowest: int, highest: int) -> bool:
        """Whether all of lowest .. highest lies inside."""
        return self.lowest <= lowest and highest <= self.highest


class TurnsBack(NamedTuple):
    """Turns taken back for each segment: from segment index `starts[i]` (from 0, ascending) on, `turns[i]`.

    `finish` is for the move that ends the job.
    """

    starts: tuple[int, ...]
    turns: tuple[int, ...]
    finish: int = 0

    def of(self, index: int) -> int:
        """Turns taken back for the segment of this index (>= 0)."""
        return self.turns[bisect_right(self.starts, index) - 1]

    def stretches(self, count: int) -> list[tuple[int, int, int]]:
        """(first index, index after the last, turns) of each stretch of `count` segments."""
        ends = (*self.starts[1:], count)
        return list(zip(self.starts, ends, self.turns, strict=True))

    @property
    def unwinds(self) -> bool:
        """Whether any turn is taken back at all."""
        return any(self.turns) or self.finish != 0


NOT_UNWOUND = TurnsBack((0,), (0,))
"""Every target where it lies."""


class Unwinder(NamedTuple):
    """Finds the turns to take back. `span` is what positions and, `overrun` microsteps below them, take-ups must keep.

    It comes as far as it can without unwinding, then takes back the number of turns with which the most segments
    follow without another unwinding; among several such numbers, one that makes a whole number of microsteps if there
    is one, and the one that keeps the coordinates nearest to the middle of the span.
    """

    angles: SegmentAngles
    per_turn: Fraction
    overrun: int
    span: Span

    def turns_back(self, finish: Fraction | None, *, goes_back: bool) -> TurnsBack:
        """The turns to take back for all segments, and for a finish (turns) that `goes_back` to the job's beginning.

        Where nothing fits, the number of turns that comes nearest, and after `_MOST_LOST` of such segments the same for
        all that follow: whoever uses it proves every target anyway.
        """
        starts: list[int] = []
        turns: list[int] = []
        index = now = lost = 0
        while index < self.angles.count:
            end = self._fits_until(index, now)
            if end == index:
                now = self._best_turns(index)
                end = self._fits_until(index, now)
                if end == index:  # nothing fits
                    lost += 1
                    end = index + 1 if lost < _MOST_LOST else self.angles.count
            if not turns or turns[-1] != now:
                starts.append(index)
                turns.append(now)
            index = end
        last = 0 if finish is None else self._finish_turns(finish, turns[0] if goes_back else turns[-1])
        return TurnsBack(tuple(starts), tuple(turns), last)

    def _fits_until(self, start: int, turns: int) -> int:
        """Index of the first segment from `start` on that does not fit with `turns` taken back."""
        look = _FIRST_LOOK
        while start < self.angles.count:
            targets = self.angles.targets(self.per_turn, turns, start, start + look)
            bad = np.flatnonzero((targets > self.span.highest) | (targets - self.overrun < self.span.lowest))
            if bad.size:
                return start + int(bad[0])
            start += targets.size
            look = min(2 * look, _LONGEST_LOOK)
        return start

    def _best_turns(self, start: int) -> int:
        """Turns with which the longest run of segments from `start` on fits; the nearest if not even one does."""
        if not self._choices(start, start + 1):
            return self._nearest_middle(start, start + 1)
        fits, length = 1, 2
        while start + length <= self.angles.count and self._choices(start, start + length):
            fits, length = length, 2 * length
        too_long = min(length, self.angles.count - start + 1)
        while too_long - fits > 1:
            middle = (fits + too_long) // 2
            fits, too_long = (middle, too_long) if self._choices(start, start + middle) else (fits, middle)
        choices = self._choices(start, start + fits)
        whole = self.per_turn.denominator
        even = range(-(-choices.start // whole) * whole, choices.stop, whole)
        return _nearest(even or choices, self._nearest_middle(start, start + fits))

    def _choices(self, start: int, stop: int) -> range:
        """Numbers of turns with which all segments `start` .. `stop`-1 fit."""
        return self._turns_between(*self.angles.extremes(start, stop), self.overrun)

    def _turns_between(self, lowest: Fraction, highest: Fraction, overrun: int = 0) -> range:
        """Numbers of turns that bring the targets of angles lowest .. highest (turns) into the span, take-up and all.

        Exactly: a target half-way between two steps is the even one of them, so it may lie on the edge.
        """
        least_step, most_step = self.span.lowest + overrun, self.span.highest
        least = highest - (most_step + _HALF) / self.per_turn
        most = lowest - (least_step - _HALF) / self.per_turn
        return range(
            math.ceil(least) if most_step % 2 == 0 else math.floor(least) + 1,
            (math.floor(most) if least_step % 2 == 0 else math.ceil(most) - 1) + 1,
        )

    def _nearest_middle(self, start: int, stop: int) -> int:
        lowest, highest = self.angles.extremes(start, stop)
        twice = (lowest + highest) * self.per_turn - self.overrun - self.span.lowest - self.span.highest
        return round(twice / 2 / self.per_turn)

    def _finish_turns(self, angle: Fraction, wanted: int) -> int:
        """`wanted` if the end position fits with it, else the nearest number of turns with which it does."""
        return _nearest(self._turns_between(angle, angle) or range(wanted, wanted + 1), wanted)


def _nearest(choices: range, wanted: int) -> int:
    """The one of `choices` (ascending, not empty) that is nearest to `wanted`; of two the smaller."""
    below = max(min((wanted - choices.start) // choices.step, len(choices) - 1), 0)
    above = min(below + 1, len(choices) - 1)
    return min(choices[below], choices[above], key=lambda turns: abs(turns - wanted))


def require_travel(axis: Axis, lowest: int, highest: int, per_turn: Fraction, origin: int = 0) -> None:
    """Raise `PlanError` when positions lowest .. highest (microsteps from the job's zero) leave the axis's travel.

    `origin`: machine step of the job's zero. The angles in the message count from machine zero, as the travel does.
    """
    travel = axis.travel
    if travel == "endless":
        return
    ends = (lowest + origin) * axis.sign / per_turn, (highest + origin) * axis.sign / per_turn
    least, most = min(ends), max(ends)
    for angle, limit, outside in (
        (least, travel.lowest, least < travel.lowest.exact),
        (most, travel.highest, most > travel.highest.exact),
    ):
        if outside:
            remedy = (
                "Move mark.start_angle, or shorten the mark, or finish with stay: no number of whole turns brings it "
                "into the travel"
                if axis.unwinds
                else f"Move mark.start_angle, or shorten the mark, or {UNWIND_FIX}"
            )
            raise PlanError("target outside axis.travel", float(angle * 360), "deg", limit.to("deg"), remedy)
