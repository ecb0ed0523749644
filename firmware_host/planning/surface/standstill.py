"""What the lag at standstill does to the seams: gravity on an imbalance, friction, and what the gearing loses."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from firmware_host.mechanics.guard import beside, real
from firmware_host.mechanics.motor.standstill import (
    AtStandstill,
    friction_lag,
    largest_lag_change,
    largest_load_change,
    largest_torque_at_standstill,
)
from firmware_host.planning.layout.causes import Floats, SeamCause, either_way
from firmware_host.planning.layout.segments import SegmentPlan
from firmware_host.planning.load.case import LoadCase

_AT_ONCE = 500  # angles
_REMEDY = "Keep more current at standstill (driver.standstill_current), balance the part, or gear it down"
_STIFFER = "Balance the part, or take a wider belt or a stiffer coupling (gearing.torsional_stiffness)"


def lag_causes(load: LoadCase, plan: SegmentPlan) -> Iterator[SeamCause]:
    """How much of a seam the changing lag of the rotor may open or close: by the imbalance, and by friction besides.

    Both stops of a seam count, friction at either the other way round. So does what the same load twists on its way.
    """
    rest, radius = standing(load), beside(real(plan.diameter) / 2)
    apart = _angles_apart(plan)
    by_gravity = radius * _per_angle(_without_friction(rest), apart)
    both = radius * _per_angle(rest, apart)
    alone = float(np.max(radius * beside(friction_lag(rest)))) * 1e3
    yield either_way("lag-imbalance", "lag at standstill: imbalance, from stop to stop", by_gravity, _REMEDY)
    name = f"lag at standstill: friction, {alone:.3f} mm either way at each stop"
    yield either_way("lag-friction", name, both - by_gravity, _REMEDY)
    twisted = radius * beside(load.torsion.compliance) * largest_load_change(_beside(rest), apart)
    yield either_way("twist", "twist of belts and couplings at standstill", twisted, _STIFFER)


def lets_go(load: LoadCase) -> str:
    """A sentence for a load that the motor does not hold at every angle at standstill; nothing where it does."""
    most = float(np.max(largest_torque_at_standstill(standing(load))))
    if most <= load.standstill_torque:
        return ""
    return (
        f"At standstill the load asks up to {most:.3g} N*m of the motor, which holds {load.standstill_torque:.3g} "
        "N*m: it may let go, and then no seam is where it is planned."
    )


def standing(load: LoadCase) -> AtStandstill:
    """What a load case says of a part at a standstill."""
    return AtStandstill(
        gravity=load.imbalance_torque,
        friction=load.friction_torque,
        ratio=load.ratio,
        efficiency=load.efficiency,
        holding_torque=load.standstill_torque,
        rotor_teeth=load.full_steps // 4,
    )


def _without_friction(rest: AtStandstill) -> AtStandstill:
    return AtStandstill(rest.gravity, 0.0, rest.ratio, rest.efficiency, rest.holding_torque, rest.rotor_teeth)


def _angles_apart(plan: SegmentPlan) -> Floats:
    """How far the part turns from each segment to the next, rad, the last one to the first if they meet. Shape (s,)."""
    centres = np.radians(plan.centres_deg())
    apart = np.diff(centres)
    whole = centres[..., -1:] - centres[..., :1]
    return np.append(apart, whole, axis=-1) if plan.full_wrap else apart


def _per_angle(rest: AtStandstill, apart: Floats) -> Floats:
    """The largest change of the lag for each angle, each different angle computed once. Shape (..., s)."""
    different, place = np.unique(np.round(apart, 9), axis=-1, return_inverse=True)
    several, most = _beside(rest), max(1, _AT_ONCE // max(different[..., 0].size, 1)) if apart.size else 1
    found = [largest_lag_change(several, different[..., k : k + most]) for k in range(0, different.shape[-1], most)]
    return np.concatenate(found, axis=-1)[..., place.ravel()] if apart.size else np.zeros(apart.shape)


def _beside(rest: AtStandstill) -> AtStandstill:
    """The same with an axis of its own for the angles between stops, where it is of many parts."""
    if not any(np.ndim(each) for each in (rest.gravity, rest.friction, rest.ratio, rest.efficiency)):
        return rest
    gravity, friction, ratio, efficiency = (
        beside(each) for each in (rest.gravity, rest.friction, rest.ratio, rest.efficiency)
    )
    return AtStandstill(gravity, friction, ratio, efficiency, rest.holding_torque, rest.rotor_teeth)
