"""How far belts and couplings twist while the part stands still."""

from __future__ import annotations

import math

from firmware_host.mechanics.guard import FloatOrArray
from firmware_host.planning.limits.case import LimitCase
from firmware_host.planning.limits.check import LimitCheck, not_known, upper_limit
from firmware_host.planning.limits.limit import Figures, Limit
from firmware_host.planning.limits.remedy import lower
from firmware_host.planning.load.torsion import twisting_stages


class Twist(Limit):
    """Surface travel by which imbalance and friction twist belts and couplings at a standstill, beside half the spot.

    An estimate of what a seam looks like. Its formula tells the natural frequencies of the train that twists, which
    `resonance` and the settling look at. Nothing where no stage twists.
    """

    name = "twist"
    advisory = True
    stops_unknown = False
    ways = (lower("part.mass_offset"),)

    def check(self, case: LimitCase) -> LimitCheck | None:
        load, stages, spot = case.load, twisting_stages(case.machine), case.job.window.spot
        if not stages:
            return None
        formula = "(m*g*e + T_friction)*r/k <= half the spot, k as seen from the part"
        source = "Hooke's law; eigenvalues of stiffness and mass for the frequencies; the belt's or coupling's data"
        missing = tuple(
            f"gearing.{stage.name}.torsional_stiffness" for stage in stages if stage.torsional_stiffness is None
        )
        missing += () if spot is not None else ("window.spot_diameter",)
        frequencies = [load.natural_frequency, *((band.lowest + band.highest) / 2 for band in load.torsion.upper)]
        formula += f" -> swings at {', '.join(f'{w / (2 * math.pi):.4g} Hz' for w in frequencies)}"
        found = self.figures(case)
        if found is None:
            value = float(_twisted(case))
            return not_known(self.name, "m", formula=formula, source=source, missing=missing, value=value)
        return upper_limit(
            self.name,
            *found,
            "m",
            formula=formula,
            source=source,
            remedy="Take a wider belt or a stiffer coupling",
            missing=missing,
        )

    def figures(self, case: LimitCase) -> Figures | None:
        spot = case.job.window.spot
        return (_twisted(case), spot.si / 2) if spot is not None else None


def _twisted(case: LimitCase) -> FloatOrArray:
    """Travel of the surface, m."""
    load = case.load
    torque = load.imbalance_torque + load.friction_torque
    return torque * load.torsion.compliance * case.job.part.diameter.si / 2
