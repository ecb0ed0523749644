"""The bending moment of part and chuck on the spindle's bearings."""

from __future__ import annotations

from firmware_host.planning.limits.bearings.supports import (
    carried_weights,
    carrying,
    hanging_out,
    missing_chuck_mass,
    tipping_moment,
)
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, not_known, upper_limit
from firmware_host.planning.limits.limit import Figures, Limit
from firmware_host.planning.limits.remedy import Way, higher


class Overhang(Limit):
    """Moment of the weights at the front bearing against what the bearings allow.

    Free: m g (base + overhang). With a tailstock at the part's far end or a steady rest, the chuck's share of the
    weight times the base. The chuck's own weight times the base comes on top. On a tilted axis the weights count by its
    cosine, and m g e sin(tilt) of what pulls along it, beside it. No part on rollers hangs over.
    """

    name = "overhang"

    def helping(self, case: LimitCase) -> tuple[Way, ...]:
        return (*carrying(case), higher("support.largest_overhang_moment", "larger bearings"))

    def check(self, case: LimitCase) -> LimitCheck | None:
        if case.load.trough is not None:
            return None
        formula = (
            "m*g*(overhang + base) + m_chuck*g*base <= largest moment; with a tailstock or a steady rest the chuck's "
            "share of m at base; weights*cos(tilt), and m*g*e*sin(tilt)"
        )
        source = "statics of a beam"
        found = self.figures(case)
        if found is None:
            missing = ("support.largest_overhang_moment",)
            return not_known(self.name, "N*m", formula=formula, source=source, missing=missing)
        return upper_limit(
            self.name,
            *found,
            "N*m",
            formula=formula,
            source=source,
            remedy="Hang the chuck closer to its bearings",
            missing=missing_chuck_mass(case),
        )

    def figures(self, case: LimitCase) -> Figures | None:
        most, (base, overhang) = case.machine.support.largest_overhang_moment, hanging_out(case)
        if most is None:
            return None
        moments = (force * (base + out) for force, out in carried_weights(case, overhang))
        return sum(moments, tipping_moment(case)), most.si
