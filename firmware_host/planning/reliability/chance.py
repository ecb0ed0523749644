"""A probability with its interval, and the verdict that follows from it."""

from __future__ import annotations

from dataclasses import dataclass

from firmware_host.mechanics.guard import FloatArray
from firmware_host.mechanics.uncertainty import wilson_interval
from firmware_host.planning.limits.check import Verdict

CONFIDENCE = 0.95

SURE_ENOUGH = 0.999
"""From this probability on a job holds: one index machine in a thousand may fail. Common practice, no source."""

NARROWLY_SURE = 0.95
"""From this probability on it holds narrowly; below it fails. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Chance:
    """A `probability` (0 to 1), and the `interval` that holds it with 95 % confidence (Wilson)."""

    name: str
    probability: float
    interval: tuple[float, float]

    @property
    def verdict(self) -> Verdict:
        """By the lower end of the interval."""
        low = self.interval[0]
        if low >= SURE_ENOUGH:
            return Verdict.HOLDS
        return Verdict.NARROW if low >= NARROWLY_SURE else Verdict.FAILS


def chance_of(name: str, margins: FloatArray) -> Chance:
    """The chance that a margin of `margins` (draws, shape (n,), n >= 1) is not negative."""
    kept = int((margins >= 0).sum())
    return Chance(name, kept / margins.size, wilson_interval(kept, margins.size, CONFIDENCE))
