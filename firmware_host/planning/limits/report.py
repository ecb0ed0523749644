"""A limit checked, and all of them together, as data that a person or a program can read."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from firmware_host.planning.index.report import IndexAdvice
from firmware_host.planning.index.safe_motion import NARROW_MARGIN, SafeMotion


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


@dataclass(frozen=True, slots=True)
class LimitReport:
    """All limits of a job's index moves on a machine, and the motion they were checked for (part rad/s, rad/s^2).

    `advice`: how that motion compares with others, where it was asked for (`index_advice.advised`).
    """

    verdict: Verdict
    checks: tuple[LimitCheck, ...]
    motion: SafeMotion
    advice: IndexAdvice | None = None


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


def verdict_of(margin: float) -> Verdict:
    """Fails below 0, holds narrowly below `NARROW_MARGIN`, else holds (to 1e-9, so that a limit just met holds)."""
    if margin < -1e-9:
        return Verdict.FAILS
    return Verdict.NARROW if margin < NARROW_MARGIN - 1e-9 else Verdict.HOLDS


def overall(checks: tuple[LimitCheck, ...]) -> Verdict:
    """The gravest of all: fails, then not known, then narrowly, else holds."""
    verdicts = {check.verdict for check in checks}
    for grave in (Verdict.FAILS, Verdict.NOT_KNOWN, Verdict.NARROW):
        if grave in verdicts:
            return grave
    return Verdict.HOLDS
