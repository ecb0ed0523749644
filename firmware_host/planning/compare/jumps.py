"""Where a sweep jumps from a value to the next, and why: which limit took over, what stops it, what is laid out new."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from firmware_host.planning.compare.sweep import SweepPoint
from firmware_host.planning.limits.accept import stopping

_SMALLEST = 1.15
"""Ratio of two index times that counts as a jump at all. Common practice, no source."""
_BESIDE_OTHERS = 2.0
"""How many times the usual change from value to value (a logarithm) a jump is at least. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Jump:
    """From the value `before` to its neighbour `after`: `what` changed at once, and `why`."""

    before: str
    after: str
    what: str
    why: str


def jumps_of(points: Sequence[SweepPoint]) -> tuple[Jump, ...]:
    """Every jump of a sweep, in order: from running to stopped or back, or an index time that leaves the trend."""
    pairs = list(pairwise(points))
    changes = [_change(before, after) for before, after in pairs]
    found = []
    for place, (before, after) in enumerate(pairs):
        others = [change for other, change in enumerate(changes) if other != place and change is not None]
        usual = median(others) if others else 0.0
        change = changes[place]
        if before.verdict.stops != after.verdict.stops:
            what = f"{before.verdict.value} -> {after.verdict.value}"
            stopped = after if after.verdict.stops else before
            found.append(Jump(before.value, after.value, what, _stopped_by(stopped)))
        elif change is not None and change >= max(math.log(_SMALLEST), _BESIDE_OTHERS * usual):
            what = f"index {_index_s(before):.3g} -> {_index_s(after):.3g} s"
            found.append(Jump(before.value, after.value, what, _took_over(before, after)))
    return tuple(found)


def _change(before: SweepPoint, after: SweepPoint) -> float | None:
    """By how much the index time changes, as the logarithm of the ratio (>= 0); None where either has none."""
    if before.report is None or after.report is None:
        return None
    return abs(math.log(_index_s(after) / _index_s(before)))


def _index_s(point: SweepPoint) -> float:
    return point.report.motion.timing.index_s if point.report is not None else math.inf


def _stopped_by(point: SweepPoint) -> str:
    """What stops a value."""
    if point.report is None:
        return f"with {point.value} nothing can be planned: see its trouble"
    return f"{point.value} is stopped by {', '.join(check.name for check in stopping(point.report.checks))}"


def _took_over(before: SweepPoint, after: SweepPoint) -> str:
    """What is different of two values that both have a motion."""
    reasons = []
    if before.segments != after.segments:
        reasons.append(f"{before.segments} -> {after.segments} segments")
    was, now = before.binding, after.binding
    if was != now:
        reasons.append(f"{_words(now)} took over from {_words(was)}")
    else:
        reasons.append(f"{_words(now)} binds before and after")
    if before.report is not None and after.report is not None:
        old, new = before.report.motion, after.report.motion
        reasons.append(
            f"acceleration {math.degrees(old.acceleration):.4g} -> {math.degrees(new.acceleration):.4g} deg/s^2"
        )
        reasons.append(f"settling {old.timing.settle_s:.3g} -> {new.timing.settle_s:.3g} s")
    return "; ".join(reasons)


def _words(binding: tuple[str, ...]) -> str:
    return " and ".join(binding) or "nothing"
