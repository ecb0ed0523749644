"""The limits of many parts that differ in numbers alone: the margins of each as an array, and what follows of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import FormulaRangeError
from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, Verdict, gravities
from firmware_host.planning.limits.limit import Limit
from firmware_host.planning.limits.registry import all_limits
from firmware_host.planning.many.lot.stack import UnlikeError, stacked

_VERDICTS = tuple(Verdict)
_SAME = 1e-9

Gravities = NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class _Row:
    """One limit of all parts: its name, the margins (None: not known), the gravity of each verdict, what stops."""

    name: str
    margins: FloatArray | None
    gravity: Gravities
    stops: NDArray[np.bool_]


class LotChecks:
    """The checks of parts at their motions, as `worst_checks` has them of each alone, if nothing is assumed of it."""

    def __init__(self, cases: Sequence[LimitCase], reasons: Mapping[str, str]) -> None:
        self._cases, self._reasons = cases, reasons
        rows = (self._row(limit, reasons.get(limit.name, "")) for limit in all_limits())
        self._rows = tuple(row for row in rows if row is not None)

    @cached_property
    def _together(self) -> LimitCase:
        return stacked(self._cases)

    def _row(self, limit: Limit, reason: str) -> _Row | None:
        """A limit of all parts; one that isn't told for all at once is asked of each."""
        first, last = (limit.judged(self._cases[place], reason) for place in (0, -1))
        if first is None and last is None:
            return None
        margins = self._margins(limit)
        if first is None or margins is None or not (_has(first, margins[0]) and _has(last, margins[-1])):
            return self._one_by_one(limit, reason)
        gravity = gravities(first, margins)
        return _Row(limit.name, margins, gravity, _stopping(first, gravity))

    def _margins(self, limit: Limit) -> FloatArray | None:
        """None where the limit asks for more than arithmetic, which numpy refuses, or a figure is out of range."""
        try:
            margins = limit.margins(self._together)
        except (UnlikeError, FormulaRangeError, TypeError, ValueError):
            return None
        return np.broadcast_to(margins, (len(self._cases),)) if margins is not None else None

    def _one_by_one(self, limit: Limit, reason: str) -> _Row:
        checks = [limit.judged(case, reason) for case in self._cases]
        if any(check is None for check in checks):
            raise UnlikeError(limit.name)
        known = [check for check in checks if check is not None]
        margins = [check.margin for check in known]
        if any(margin is None for margin in margins) and any(margin is not None for margin in margins):
            raise UnlikeError(limit.name)
        return _Row(
            limit.name,
            np.array(margins, dtype=np.float64) if margins[0] is not None else None,
            np.array([check.verdict.gravity for check in known], dtype=np.int8),
            np.array([check.stops for check in known]),
        )

    @cached_property
    def _gravity(self) -> Gravities:
        return np.array([row.gravity for row in self._rows])

    @cached_property
    def _stops(self) -> NDArray[np.bool_]:
        return np.array([row.stops for row in self._rows])

    @cached_property
    def _overall(self) -> Gravities:
        """As `check.overall`: what is not known and stops nothing doesn't count. Shape (parts,)."""
        counting = self._stops | (self._gravity != Verdict.NOT_KNOWN.gravity)
        gravest: Gravities = np.where(counting, self._gravity, np.int8(0)).max(axis=0)
        return gravest

    @cached_property
    def _known(self) -> FloatArray:
        """Margins, infinite where they are not known, shape (limits, parts)."""
        endless = np.full(len(self._cases), np.inf)
        return np.array([row.margins if row.margins is not None else endless for row in self._rows])

    @cached_property
    def verdicts(self) -> list[Verdict]:
        """Of all limits together, of each part."""
        return [_VERDICTS[gravity] for gravity in self._overall.tolist()]

    @cached_property
    def reasons(self) -> list[tuple[str, ...]]:
        """What each verdict comes from, as `LimitReport.reasons`."""
        found: list[tuple[str, ...]] = [()] * len(self._cases)
        for part in np.flatnonzero(self._overall).tolist():
            verdict = self.verdicts[part]
            those = (self._gravity[:, part] == verdict.gravity) & (self._stops[:, part] == verdict.stops)
            found[part] = tuple(self._rows[place].name for place in np.flatnonzero(those).tolist())
        return found

    @cached_property
    def tightest(self) -> list[tuple[str, float | None]]:
        """The limit with the least margin of those that make the verdict, as `LimitReport.tightest`."""
        known = np.array([row.margins is not None for row in self._rows])[:, np.newaxis]
        if not known.any():
            return [("", None)] * len(self._cases)
        grave = known & (self._gravity == self._overall)
        places = np.where(np.where(grave.any(axis=0), grave, known), self._known, np.inf).argmin(axis=0)
        margins = self._known[places, np.arange(places.size)]
        return [(self._rows[place].name, each) for place, each in zip(places.tolist(), margins.tolist(), strict=True)]

    @cached_property
    def margins(self) -> list[dict[str, float | None]]:
        """The margin of each limit by its name, of each part."""
        names = [row.name for row in self._rows]
        none = dict.fromkeys((row.name for row in self._rows if row.margins is None), None)
        return [{**dict(zip(names, column, strict=True)), **none} for column in self._known.T.tolist()]


def _has(check: LimitCheck | None, margin: float) -> bool:
    """Whether a part's check by itself has the margin that it has among all."""
    return (
        check is not None and check.margin is not None and abs(check.margin - margin) <= _SAME * max(1.0, abs(margin))
    )


def _stopping(check: LimitCheck, gravity: Gravities) -> NDArray[np.bool_]:
    """As `LimitCheck.stops`, of each verdict."""
    unknown = (gravity == Verdict.NOT_KNOWN.gravity) & check.standing.stops_when_unknown
    return np.asarray((gravity == Verdict.FAILS.gravity) | unknown)
