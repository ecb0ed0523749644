"""The limit of a part's own slenderness: how long it may be where nothing supports it."""

from __future__ import annotations

import numpy as np

from firmware_host.mechanics.contact.support import SLENDEREST_BETWEEN_SUPPORTS, SLENDEREST_OVERHUNG, slenderness
from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.limits.bearings.supports import places_beyond
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, margin_of, upper_limit
from firmware_host.planning.limits.limit import Limit
from firmware_host.planning.limits.remedy import Way, setting
from firmware_host.units import Quantity, parse_quantity


class UnsupportedLength(Limit):
    """The longest length that nothing supports, over the part's thinnest diameter.

    The whole length counts, that in the chuck as well. Between two supports a part may be more slender than where it
    stands out of one; the span that uses up most of what it may be is shown.
    """

    name = "unsupported-length"
    advisory = True

    def helping(self, case: LimitCase) -> tuple[Way, ...]:
        tailstock = setting("support.tailstock", True)
        return tailstock, setting("support.steady_rest.position", _best_rest(case))

    def check(self, case: LimitCase) -> LimitCheck | None:
        if case.load.trough is not None:
            return None
        length, limit, where = max(_spans(case), key=lambda span: span[0] / span[1])
        return upper_limit(
            self.name,
            slenderness(length, case.job.part.thinnest.si),
            limit,
            "",
            formula=f"length/thinnest diameter <= {limit:g} {where}, a rule of thumb",
            source="common practice, no source",
            remedy="Prove on the machine that it does not bend",
        )

    def margins(self, case: LimitCase) -> FloatArray | None:
        spans = _every_span(case)
        if not all(np.all(length > 0) for length, _, _ in spans):
            return None
        thin = case.job.part.thinnest.si
        least: FloatArray = np.min([margin_of(slenderness(length, thin), limit) for length, limit, _ in spans], axis=0)
        return least


def _spans(case: LimitCase) -> tuple[tuple[float, float, str], ...]:
    """Those of `_every_span` that have a length: a free end may have none."""
    return tuple(span for span in _every_span(case) if span[0] > 0)


def _every_span(case: LimitCase) -> tuple[tuple[float, float, str], ...]:
    """(length in m, most diameters, where) of what nothing supports."""
    length, places = case.job.part.whole_length.si, places_beyond(case)
    starts, rest = (0.0, *places), case.machine.support.steady_rest is not None
    first, beyond = ("steady rest", "steady rest") if rest else ("tailstock", "")
    names = (f"between chuck and {first}", "between steady rest and tailstock")
    spans = [
        (end - start, SLENDEREST_BETWEEN_SUPPORTS, name)
        for start, end, name in zip(starts, places, names, strict=False)
    ]
    if not case.machine.support.tailstock:
        spans.append((length - starts[-1], SLENDEREST_OVERHUNG, f"out of the {beyond or 'chuck'}"))
    return tuple(spans)


def _best_rest(case: LimitCase) -> Quantity:
    """Where a rest leaves the least unsupported, against what either span may be, to a millimetre."""
    beyond = SLENDEREST_BETWEEN_SUPPORTS if case.machine.support.tailstock else SLENDEREST_OVERHUNG
    share = SLENDEREST_BETWEEN_SUPPORTS / (SLENDEREST_BETWEEN_SUPPORTS + beyond)
    place = case.job.part.whole_length.si * share
    return parse_quantity(f"{max(round(place * 1e3), 1)} mm", "length", "positive")
