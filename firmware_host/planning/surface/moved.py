"""Everything besides the planned steps that moves the surface, over all that the description leaves open."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from firmware_host.planning.layout.causes import SeamCause
from firmware_host.planning.layout.segments import SegmentPlan
from firmware_host.planning.load.case import LoadVariant, LoadVariants
from firmware_host.planning.load.torsion import twisting_stages
from firmware_host.planning.surface.creep import IndexMotion, creep_causes
from firmware_host.planning.surface.standstill import lag_causes, lets_go


class Moved(NamedTuple):
    """What moves the surface: `causes` with their ranges, `unknown` keys of what is in none, `warnings` to be told."""

    causes: tuple[SeamCause, ...] = ()
    unknown: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def moved_surface(loads: LoadVariants, plan: SegmentPlan, motion: IndexMotion | None) -> Moved:
    """What load and index do to each seam: the widest range of all variants counts. `motion`: None if none is known."""
    found = [_moved(each, plan, motion) for each in loads.variants]
    return Moved(
        causes=tuple(_widest(alike) for alike in zip(*(each.causes for each in found), strict=True)),
        unknown=tuple(dict.fromkeys(key for each in found for key in each.unknown)),
        warnings=found[0].warnings or next((each.warnings for each in found if each.warnings), ()),
    )


def _moved(variant: LoadVariant, plan: SegmentPlan, motion: IndexMotion | None) -> Moved:
    creeping, unknown = creep_causes(variant, plan, motion)
    falls = lets_go(variant.load)
    unknown += tuple(
        f"gearing.{stage.name}.torsional_stiffness"
        for stage in twisting_stages(variant.machine)
        if stage.torsional_stiffness is None
    )
    return Moved((*creeping, *lag_causes(variant.load, plan)), unknown, (falls,) if falls else ())


def _widest(alike: Iterable[SeamCause]) -> SeamCause:
    """One cause with the range that takes in those of all variants; the words of the worst."""
    alike = tuple(alike)
    if len(alike) == 1:
        return alike[0]
    worst = max(alike, key=lambda cause: cause.worst)
    return replace(
        worst,
        low=np.min([cause.low for cause in alike], axis=0),
        high=np.max([cause.high for cause in alike], axis=0),
    )
