"""The number to write in place of the wrong one."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Off:
    """By what part of itself a number is wrong: the true one is (1 + `amount`) times it, `within` so much (95 %)."""

    amount: float
    within: float


@dataclass(frozen=True)
class Correction:
    """`key` of the `file` ("job" or "machine") that is wrong, and what it should be.

    `entered` and `true` in `unit` (mm, or none for a part of something), `within`: the true one lies that close with 95
    in 100. `likely`: what it may really be, as sentences, the nearest first.
    """

    file: str
    key: str
    entered: float
    true: float
    within: float
    unit: str
    likely: tuple[str, ...] = ()


def other_size(file: str, key: str, entered: float, off: Off) -> Correction:
    """The correction of a diameter (m), with a hint where it is off by what a slip of the pen makes of it."""
    mm = entered * 1e3
    return Correction(file, key, mm, mm * (1 + off.amount), mm * off.within, "mm", _slips_of_the_pen(off.amount))


def _slips_of_the_pen(amount: float) -> tuple[str, ...]:
    slips = {2.0: "a radius was entered for the diameter", 0.5: "twice the diameter was entered",
             math.pi: "the circumference was measured, or a diameter taken for it"}  # fmt: skip
    return tuple(words for factor, words in slips.items() if abs((1 + amount) / factor - 1) < 0.02)
