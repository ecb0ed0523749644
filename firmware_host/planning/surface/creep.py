"""What creep on rollers does to the seams of an index, and places of contact that differ in diameter."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from firmware_host.mechanics.guard import beside, real
from firmware_host.planning.layout.causes import Floats, SeamCause, either_way
from firmware_host.planning.layout.segments import SegmentPlan
from firmware_host.planning.load.case import LoadVariant

WIDTH = "drive.contact_width, or drive.slip as measured"
SLIPS = "creep: the part slips on its rollers at this motion"
NO_MOTION = "creep: no motion between the segments was found"


class IndexMotion(NamedTuple):
    """How the part is turned from segment to segment: `speed` rad/s and `acceleration` rad/s^2, > 0."""

    speed: float
    acceleration: float


def creep_causes(
    variant: LoadVariant, plan: SegmentPlan, motion: IndexMotion | None
) -> tuple[tuple[SeamCause, ...], tuple[str, ...]]:
    """(causes, what is not known) of a part on rollers; nothing in a chuck, nor of creep that was measured."""
    cradle, load = variant.machine.drive.cradle, variant.load
    if cradle is None or load.trough is None or load.friction is None:
        return (), ()
    travel = _travel(plan)
    spread = beside(real(variant.job.part.contact_spread)) * travel
    places = either_way("contact-spread", "places of contact of unlike diameter", _closed(plan, spread))
    unknown: tuple[str, ...] = ()
    least, most = 0 * travel, 0 * travel
    if cradle.slip == 0:
        least, most, unknown = _estimated(variant, plan, motion, travel)
    return (places, _cause(plan, least * travel, most * travel)), unknown


def _estimated(
    variant: LoadVariant, plan: SegmentPlan, motion: IndexMotion | None, travel: Floats
) -> tuple[Floats, Floats, tuple[str, ...]]:
    """(least, most) part of each travel that is lost, and what is not known: then the parts are none."""
    cradle, load, none = variant.machine.drive.cradle, variant.load, 0 * travel
    if cradle is None or cradle.contact_width is None or load.trough is None or load.friction is None:
        return none, none, (WIDTH,)
    if motion is None:
        return none, none, (NO_MOTION,)
    from firmware_host.mechanics.contact.creep import index_creep  # only for what lies on rollers

    turned = travel / beside(real(plan.diameter) / 2)
    least, most = index_creep(
        load.trough,
        friction=load.friction,
        contact_width=cradle.contact_width,
        acceleration=motion.acceleration,
        ramp_share=np.minimum(beside(motion.speed**2 / (2 * motion.acceleration)) / turned, 0.5),
        imbalance_torque=load.imbalance_torque,
    )
    if not np.isfinite(least + most).all():
        return none, none, (SLIPS,)
    return least, most, ()


def _cause(plan: SegmentPlan, least: Floats, most: Floats) -> SeamCause:
    """Lost travel closes each seam, and what all of them lost opens the closing one."""
    low, high = -most, -least
    if plan.full_wrap:
        low, high = (
            np.append(end, each.sum(axis=-1, keepdims=True), axis=-1) for end, each in ((low, least), (high, most))
        )
    remedy = "Measure the seams and state the creep (drive.slip), or speed up more gently (index.acceleration)"
    return SeamCause("creep", "creep on the rollers (an estimate)", low, high, remedy)


def _travel(plan: SegmentPlan) -> Floats:
    """How far the surface travels from segment to segment, m, shape (count - 1,)."""
    arcs = plan.arcs()
    travel: Floats = (arcs[..., 1:] + arcs[..., :-1]) / 2
    return travel


def _closed(plan: SegmentPlan, sizes: Floats) -> Floats:
    """The sizes with that of the closing seam, if there is one: all of them together."""
    return np.append(sizes, sizes.sum(axis=-1, keepdims=True), axis=-1) if plan.full_wrap else sizes
