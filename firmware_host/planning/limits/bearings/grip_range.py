"""Whether the jaws can hold a part of that diameter."""

from __future__ import annotations

import numpy as np

from firmware_host.mechanics.guard import FloatArray
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, margin_of, not_known, upper_limit
from firmware_host.planning.limits.limit import Limit
from firmware_host.planning.limits.remedy import higher, lower


class GripRange(Limit):
    """The part's diameter where the jaws take it, against the thinnest and the thickest that the jaws hold.

    The end that is nearer is told, as a share used up. Without either end it is not known, which stops nothing: the
    jaws show it when the part is put in.
    """

    name = "grip-range"
    stops_unknown = False
    ways = (lower("drive.smallest_grip", "other jaws"), higher("drive.largest_grip", "other jaws"))
    never_waived = "jaws that cannot close on a part, or open for it, do not hold it"

    def check(self, case: LimitCase) -> LimitCheck | None:
        grips = case.machine.drive.grip_range
        if grips is None:
            return None
        smallest, largest = grips
        diameter = case.job.part.contact.si
        formula, source = "smallest_grip <= diameter <= largest_grip", "the chuck's data"
        missing = tuple(
            key for key, given in (("drive.smallest_grip", smallest), ("drive.largest_grip", largest)) if given is None
        )
        ends = [(diameter, largest.si)] if largest is not None else []
        ends += [(smallest.si, diameter)] if smallest is not None else []
        if not ends:
            return not_known(self.name, "m", formula=formula, source=source, missing=missing, value=diameter)
        value, limit = max(ends, key=lambda end: end[0] / end[1])
        return upper_limit(
            self.name,
            value,
            limit,
            "m",
            formula=formula,
            source=source,
            remedy="Hold the part by another diameter",
            missing=missing,
        )

    def margins(self, case: LimitCase) -> FloatArray | None:
        smallest, largest = case.machine.drive.grip_range or (None, None)
        diameter = case.job.part.contact.si
        left = [margin_of(diameter, largest.si)] if largest is not None else []
        left += [margin_of(smallest.si, diameter)] if smallest is not None else []
        return np.min(left, axis=0) if left else None
