"""A limit checked, as data that a person or a program can read, and the verdict: from value and limit, here only."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from firmware_host.mechanics.guard import FloatArray

NARROW_MARGIN = 0.2
"""A limit with less than this part of itself left holds only narrowly; the safe motion keeps this much of each."""


class Verdict(StrEnum):
    """How a limit stands. `NOT_KNOWN`: a datum is missing, and what is known doesn't break the limit."""

    HOLDS = "holds"
    NARROW = "holds narrowly"
    FAILS = "fails"
    NOT_KNOWN = "not known"


@dataclass(frozen=True, slots=True)
class LimitCheck:
    """One limit. `value` and `limit` in `unit`, None where nothing is known.

    `margin`: (limit - value)/limit, the part of an upper limit that is left. Limits that bound from below are written
    as upper ones (a share used up), except the resonance band: there it is the distance to the band's nearer edge as a
    part of that edge, negative inside. `remedy` says what would help, or which datum to give.
    """

    name: str
    value: float | None
    limit: float | None
    unit: str
    margin: float | None
    verdict: Verdict
    formula: str
    source: str
    remedy: str


def upper_limit(
    name: str,
    value: float,
    limit: float,
    unit: str,
    *,
    formula: str,
    source: str,
    remedy: str,
    missing: tuple[str, ...] = (),
) -> LimitCheck:
    """A check that `value` <= `limit`, `limit` >= 0. With data `missing`, `value` is a lower bound and never holds."""
    margin = (limit - value) / limit if limit > 0 else (0.0 if value <= 0 else -math.inf)
    verdict = verdict_of(margin)
    if missing and verdict is not Verdict.FAILS:
        verdict = Verdict.NOT_KNOWN
        remedy = f"Give {', '.join(missing)}; counted as nothing here"
    return LimitCheck(name, value, limit, unit, margin, verdict, formula, source, remedy)


def not_known(
    name: str, unit: str, *, formula: str, source: str, missing: tuple[str, ...], value: float | None = None
) -> LimitCheck:
    """A check that can't be made without the data `missing`."""
    remedy = f"Give {', '.join(missing)}"
    return LimitCheck(name, value, None, unit, None, Verdict.NOT_KNOWN, formula, source, remedy)


def drawn_margin(value: FloatArray, limit: FloatArray) -> FloatArray:
    """(limit - value)/limit of many draws, arrays that broadcast, not below -1: how far a lost draw fails says nothing.

    -1 where the limit is 0 or the value is without end.
    """
    usable = (limit > 0) & np.isfinite(value)
    margin = 1 - np.where(usable, value, 2.0) / np.where(usable, limit, 1.0)
    return np.maximum(margin, -1.0)


def verdict_of(margin: float) -> Verdict:
    """Fails below 0, holds narrowly below `NARROW_MARGIN`, else holds (to 1e-9, so that a limit just met holds)."""
    if margin < -1e-9:
        return Verdict.FAILS
    return Verdict.NARROW if margin < NARROW_MARGIN - 1e-9 else Verdict.HOLDS


def overall(checks: Iterable[LimitCheck]) -> Verdict:
    """The gravest of all: fails, then not known, then narrowly, else holds."""
    verdicts = {check.verdict for check in checks}
    for grave in (Verdict.FAILS, Verdict.NOT_KNOWN, Verdict.NARROW):
        if grave in verdicts:
            return grave
    return Verdict.HOLDS
