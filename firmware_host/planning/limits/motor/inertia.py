"""Limits of the masses as described: reflected inertia beside the rotor's, and density beside the scales."""

from __future__ import annotations

from firmware_host.mechanics.train.transmission import inertia_ratio
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, upper_limit
from firmware_host.planning.limits.limit import Figures, Limit
from firmware_host.planning.limits.remedy import GEAR_DOWN

LARGEST_INERTIA_RATIO = 10.0
LARGEST_MASS_DISAGREEMENT = 0.10


class InertiaRatio(Limit):
    """Reflected inertia over the rotor's own."""

    name = "inertia-ratio"
    advisory = True
    ways = (GEAR_DOWN,)

    def check(self, case: LimitCase) -> LimitCheck:
        return upper_limit(
            self.name,
            *self.figures(case),
            "",
            formula="(sum of J/n^2)/J_rotor <= 10, a rule of thumb",
            source='Machine Design, "Stepping up success with proper motor sizing", 2001',
            remedy="Take a motor with a heavier rotor",
        )

    def figures(self, case: LimitCase) -> Figures:
        return inertia_ratio(case.load.reflected_inertia, case.load.rotor_inertia), LARGEST_INERTIA_RATIO


class MassDisagreement(Limit):
    """Density times volume against the weighed mass, where both are given."""

    name = "mass"

    def check(self, case: LimitCase) -> LimitCheck | None:
        found = self.figures(case)
        if found is None:
            return None
        return upper_limit(
            self.name,
            *found,
            "",
            formula="|density*volume - weighed|/weighed <= 0.1",
            source=f"common practice, no source; density: {case.load.density_source}",
            remedy="Check the part's dimensions and density; the weighed mass is the one used",
        )

    def figures(self, case: LimitCase) -> Figures | None:
        disagreement = case.load.mass_disagreement
        return (abs(disagreement), LARGEST_MASS_DISAGREEMENT) if disagreement is not None else None
