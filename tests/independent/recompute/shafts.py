"""Forces of belts, gears, worms and rollers on shafts and bearings (docs: Gearing, forces on the shafts; Rollers)."""

from __future__ import annotations

from dataclasses import replace
from math import atan, cos, hypot, pi, radians, sin, tan
from typing import Any

from tests.independent.recompute.facts import Facts
from tests.independent.recompute.ringing import swings
from tests.independent.recompute.rolling import row_force
from tests.independent.recompute.torsion import stiffnesses
from tests.independent.recompute.verdict import UNKNOWN, Found
from tests.independent.values import known

PRESSURE_ANGLE = radians(20)


def wheel_torque(facts: Facts, position: int) -> float:
    """Largest torque (N m) on the driven shaft of a stage."""
    up, down = swings(facts)
    found = []
    for sense in (1, -1):
        for acceleration in (sense * up, -sense * down):
            for imbalance in (facts.imbalance, -facts.imbalance):
                torque, turn = facts.on_shaft * acceleration + facts.friction * sense + imbalance, acceleration
                for stage in reversed(facts.stages[position + 1 :]):
                    torque += stage.inertia_out * turn
                    turn *= stage.ratio
                    eta = stage.efficiency if torque * sense > 0 else 1 / stage.efficiency
                    torque = torque / (stage.ratio * eta) + stage.inertia_in * turn
                found.append(abs(torque + facts.stages[position].inertia_out * turn))
    return max(found)


def motor_shaft_load(facts: Facts) -> Found | None:
    gearing = facts.machine["gearing"]
    if not gearing:
        if not facts.rolling or "largest_bearing_load" in facts.drive:
            return None
        return _against_shaft(facts, row_force(facts, *swings(facts)))
    first = gearing[0]
    if "kind" not in first:
        return UNKNOWN
    if first["kind"] in ("coupling", "planetary") or "largest_axial_load" in first:
        return None
    return _against_shaft(facts, _pushed_aside(facts, first))


def _against_shaft(facts: Facts, force: float | None) -> Found:
    rated, rated_at = known(facts.motor, "radial_load"), known(facts.motor, "radial_load_at")
    arm = known(facts.support, "motor_shaft_arm")
    if force is None or rated is None or rated_at is None or arm is None:
        return UNKNOWN
    return Found(force * max(1.0, arm / rated_at), rated)


def _pushed_aside(facts: Facts, stage: dict[str, Any]) -> float | None:
    """Force (N) on the driving shaft, across it; None where the wheels are not described."""
    torque, own = wheel_torque(facts, 0), facts.stages[0]
    if stage["kind"] == "worm":
        return _worm_across(stage, torque, own.efficiency)
    diameter, pitch, teeth = known(stage, "driving_diameter"), known(stage, "pitch"), stage.get("driving_teeth")
    if diameter is None:
        diameter = pitch * teeth / pi if pitch is not None and teeth is not None else None
    tension = known(stage, "belt_tension")
    if diameter is None or (stage["kind"] == "toothed-belt" and tension is None):
        return None
    force = 2 * torque / (own.ratio * own.efficiency) / diameter
    if tension is not None:
        return max(2 * tension, force)
    return force / cos(PRESSURE_ANGLE)


def _worm_across(stage: dict[str, Any], torque: float, efficiency: float) -> float | None:
    pitch, diameter = known(stage, "pitch"), known(stage, "driving_diameter")
    if pitch is None or diameter is None:
        return None
    axial = 2 * torque / (pitch * stage["driven_teeth"] / pi)
    slope = pitch * stage["driving_teeth"] / (pi * diameter)
    friction = cos(PRESSURE_ANGLE) * (1 - efficiency) / (slope + efficiency / slope)
    lead = atan(slope)
    apart = axial * sin(PRESSURE_ANGLE) / (cos(PRESSURE_ANGLE) * cos(lead) - friction * sin(lead))
    return hypot(axial * tan(lead) / efficiency, apart)


def roller_bearing_load(facts: Facts) -> Found | None:
    if not facts.rolling:
        return None
    return Found(row_force(facts, *swings(facts)), known(facts.drive, "largest_bearing_load"))


def worm_thrust(facts: Facts) -> Found | None:
    """Of the worm that is worst off."""
    found = []
    for position, stage in enumerate(facts.machine["gearing"]):
        if stage.get("kind") != "worm":
            continue
        rated = known(stage, "largest_axial_load")
        if rated is None and position == 0:
            rated = known(facts.motor, "axial_load")
        pitch = known(stage, "pitch")
        if pitch is None or rated is None or "driving_diameter" not in stage:
            found.append(UNKNOWN)
        else:
            found.append(Found(2 * wheel_torque(facts, position) / (pitch * stage["driven_teeth"] / pi), rated))
    order = ("holds", "holds narrowly", "exceeded", "not known", "fails")
    worst = max(found, key=lambda each: (max(map(order.index, each.verdicts())), -(each.margin or 0.0)), default=None)
    if len(found) > 1 and worst is not None and any(each is not None for each in stiffnesses(facts)):
        return replace(worst, within=1e9)  # which of the two is worse hangs on how far the train swings
    return worst
