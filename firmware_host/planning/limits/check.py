"""A limit checked, as data that a person or a program can read, and the verdict: from value and limit, here only."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firmware_host.mechanics.guard import FloatArray, FloatOrArray

NARROW_MARGIN = 0.2
"""A limit with less than this part of itself left holds only narrowly; the safe motion keeps this much of each."""


class Verdict(StrEnum):
    """How a limit stands, or a whole plan; the gravest last.

    `ACCEPTED`: it doesn't hold or isn't known, and somebody said why that may be. `EXCEEDED`: an advisory limit that
    doesn't hold; it is told, and stops nothing. `NOT_KNOWN`: a datum is missing, and what is known doesn't break it.
    """

    HOLDS = "holds"
    NARROW = "holds narrowly"
    ACCEPTED = "accepted"
    EXCEEDED = "exceeded"
    NOT_KNOWN = "not known"
    FAILS = "fails"

    @property
    def gravity(self) -> int:
        """How grave it is, 0 for what holds."""
        return _BY_GRAVITY.index(self)

    @property
    def stops(self) -> bool:
        """Whether a plan with this verdict may not move. Of a single check ask `LimitCheck.stops`."""
        return self in (Verdict.NOT_KNOWN, Verdict.FAILS)


_BY_GRAVITY = tuple(Verdict)


@dataclass(frozen=True, slots=True)
class Standing:
    """What a limit is, whatever its figures are.

    `advisory`: a rule of thumb, or an estimate of what a mark looks like: more than it is told, but stops nothing.
    `stops_unknown`: without its data nothing moves, since failing could lose steps, or drop, throw or burn something.
    `never_waived`: why nobody may accept that it fails; "" where somebody may.
    """

    advisory: bool = False
    stops_unknown: bool = True
    never_waived: str = ""

    @property
    def stops_when_unknown(self) -> bool:
        """Whether nothing may move while it is not known: what is only told stops nothing."""
        return self.stops_unknown and not self.advisory


STRICT = Standing()


@dataclass(frozen=True)
class LimitCheck:
    """One limit. `value` and `limit` in `unit`, None where nothing is known.

    `margin`: (limit - value)/limit, the part of an upper limit that is left. Limits that bound from below are written
    as upper ones (a share used up), except the resonance band: there it is the distance to the band's nearer edge as a
    part of that edge, negative inside. `otherwise`: what helps whatever the case, or which datum to give; `told`: makes
    the whole remedy of it, None where that is all.
    `missing`: keys without which the value is only a lower bound, or not there. `assumed`: keys taken at the unkind end
    of a range: the verdict stands, on those. `reason`: why the user accepts it, "" where nobody does.
    """

    name: str
    value: float | None
    limit: float | None
    unit: str
    margin: float | None
    formula: str
    source: str
    otherwise: str
    missing: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    standing: Standing = STRICT
    reason: str = ""
    told: Callable[[str], str] | None = field(default=None, compare=False, repr=False)

    @cached_property
    def remedy(self) -> str:
        """What would help, or which datum to give. The keys that may help are tried when somebody first asks."""
        return self.told(self.otherwise) if self.told is not None else self.otherwise

    @property
    def verdict(self) -> Verdict:
        """What follows from all of these; nothing else makes the verdict of a limit."""
        return verdict_of(self.margin, missing=self.missing, standing=self.standing, reason=self.reason)

    @property
    def stops(self) -> bool:
        """Whether nothing may move because of it."""
        return self.verdict is Verdict.FAILS or (self.verdict is Verdict.NOT_KNOWN and self.standing.stops_when_unknown)


def verdict_of(
    margin: float | None, *, missing: tuple[str, ...] = (), standing: Standing = STRICT, reason: str = ""
) -> Verdict:
    """The verdict of a limit: from its margin (None: not known), what is missing, what it is, and an acceptance.

    A limit just met holds (to 1e-9); less than `NARROW_MARGIN` left is narrow. A margin that is not a number holds
    nothing.
    """
    kept = margin is not None and is_kept(margin)
    if margin is not None and not kept:
        found = Verdict.EXCEEDED if standing.advisory else Verdict.FAILS
    elif margin is None or missing:
        found = Verdict.NOT_KNOWN
    else:
        return Verdict.NARROW if is_narrow(margin) else Verdict.HOLDS
    return Verdict.ACCEPTED if reason and not standing.never_waived else found


def is_kept(margin: FloatOrArray) -> Any:
    """Whether a margin says that its limit is kept; one that is just met is."""
    return margin >= -1e-9


def is_narrow(margin: FloatOrArray) -> Any:
    """Whether a limit that is kept is so only narrowly."""
    return margin < NARROW_MARGIN - 1e-9


def gravities(check: LimitCheck, margins: FloatArray) -> NDArray[np.int8]:
    """The gravity of the verdict of `check` if its margin were each of `margins`, of their shape."""
    missed, narrow, kept = (replace(check, margin=each).verdict.gravity for each in (-1.0, 0.0, 1.0))
    return np.where(is_kept(margins), np.where(is_narrow(margins), narrow, kept), missed).astype(np.int8)


def upper_limit(
    name: str,
    value: FloatOrArray,
    limit: FloatOrArray,
    unit: str,
    *,
    formula: str,
    source: str,
    remedy: str,
    missing: tuple[str, ...] = (),
) -> LimitCheck:
    """A check that `value` <= `limit`, `limit` >= 0. With data `missing`, `value` is a lower bound and never holds."""
    value, limit = float(value), float(limit)
    margin = float(margin_of(value, limit))
    if missing and verdict_of(margin) is not Verdict.FAILS:
        remedy = f"Give {', '.join(missing)}; counted as nothing here"
    return LimitCheck(name, value, limit, unit, margin, formula, source, remedy, missing)


def margin_of(value: FloatOrArray, limit: FloatOrArray) -> FloatArray:
    """(limit - value)/limit, which broadcast: 1 where there is no limit; of a limit of 0 nothing, or without end."""
    limit = np.asarray(limit, dtype=np.float64)
    usable = (limit > 0) & np.isfinite(limit)
    with np.errstate(over="ignore", invalid="ignore"):  # of next to nothing anything is without end
        left = (limit - value) / np.where(usable, limit, 1.0)
    beyond = np.where(limit > 0, 1.0, np.where(np.asarray(value) <= 0, 0.0, -np.inf))
    return np.where(usable, left, beyond)


def not_known(
    name: str, unit: str, *, formula: str, source: str, missing: tuple[str, ...], value: float | None = None
) -> LimitCheck:
    """A check that can't be made without the data `missing`."""
    remedy = f"Give {', '.join(missing)}"
    return LimitCheck(name, value, None, unit, None, formula, source, remedy, missing)


def drawn_margin(value: FloatArray, limit: FloatArray) -> FloatArray:
    """(limit - value)/limit of many draws, arrays that broadcast, not below -1: how far a lost draw fails says nothing.

    -1 where the limit is 0 or the value is without end.
    """
    usable = (limit > 0) & np.isfinite(value)
    margin = 1 - np.where(usable, value, 2.0) / np.where(usable, limit, 1.0)
    return np.maximum(margin, -1.0)


def overall(checks: Iterable[LimitCheck]) -> Verdict:
    """The verdict of all together: the gravest, but a check that is not known counts only if it stops what moves.

    What is not known and stops nothing (`told_unknown`) has to be told beside it: the verdict is then one on what is
    known.
    """
    counting = (check.verdict for check in checks if check.stops or check.verdict is not Verdict.NOT_KNOWN)
    return gravest(*counting)


def gravest(*verdicts: Verdict) -> Verdict:
    """The gravest of some verdicts; holds if there are none."""
    return max(verdicts, key=lambda verdict: verdict.gravity, default=Verdict.HOLDS)


def told_unknown(checks: Iterable[LimitCheck]) -> tuple[str, ...]:
    """Names of the checks that are not known and stop nothing."""
    return tuple(check.name for check in checks if check.verdict is Verdict.NOT_KNOWN and not check.stops)
