"""Limits of what carries the part in a chuck (docs: Supports, Parts)."""

from __future__ import annotations

from itertools import pairwise
from math import cos, sin

from tests.independent.recompute.facts import Facts
from tests.independent.recompute.trough import G
from tests.independent.recompute.verdict import UNKNOWN, Found
from tests.independent.values import diameter, known, of, si


def mass(facts: Facts) -> Found | None:
    return Found(abs(facts.disagreement), 0.1) if facts.disagreement is not None else None


def whole_length(facts: Facts) -> float:
    if facts.part["kind"] == "stepped":
        return sum(si(cylinder["length"]) for cylinder in facts.part["cylinders"])
    return si(facts.part["length"])


def places(facts: Facts) -> list[float]:
    """Where, from the chuck's face, a steady rest and a tailstock carry."""
    found = [si(facts.support["steady_rest"]["position"])] if "steady_rest" in facts.support else []
    return [*found, whole_length(facts)] if facts.support.get("tailstock") else found


def loads(facts: Facts, overhang: float) -> list[tuple[float, float]]:
    """(weight, distance from the chuck's face) that the spindle carries: of the part, and of the chuck."""
    part = (facts.weight, overhang)
    if places(facts):
        part = (max(abs(facts.weight * (1 - overhang / place)) for place in places(facts)), 0.0)
    return [part, (of(facts.drive, "mass") * G * cos(facts.tilt), 0.0)]


def tipping(facts: Facts) -> float:
    """Moment (N m) of the weight along a tilted axis, beside it."""
    return facts.moment * G * sin(facts.tilt)


def overhang(facts: Facts) -> Found | None:
    if facts.rolling:
        return None
    out, most = known(facts.part, "overhang"), known(facts.support, "largest_overhang_moment")
    base = known(facts.support, "overhang_base")
    if out is None and most is None:
        return None
    if out is None or most is None or base is None:
        return UNKNOWN
    value = sum(w * (base + x) for w, x in loads(facts, out)) + tipping(facts)
    return Found(value, most, "mass" not in facts.drive)


def on_motor(facts: Facts) -> bool:
    """Whether the motor's own bearings carry the chuck."""
    return not facts.machine["gearing"] and "largest_radial_load" not in facts.support


def radial_load(facts: Facts) -> Found | None:
    if facts.rolling:
        return None
    out, base = known(facts.part, "overhang"), known(facts.support, "overhang_base")
    if on_motor(facts):
        limit, place = known(facts.motor, "radial_load"), known(facts.motor, "radial_load_at")
    else:
        limit, place = known(facts.support, "largest_radial_load"), known(facts.support, "bearing_spacing")
    if out is None or base is None or limit is None or place is None:
        return UNKNOWN
    if on_motor(facts):
        value = sum(w * max(1.0, (base + x) / place) for w, x in loads(facts, out))
    else:
        value = sum(w * (1 + (base + x) / place) for w, x in loads(facts, out))
    return Found(value + tipping(facts) / place, limit, "mass" not in facts.drive)


def axial_load(facts: Facts) -> Found | None:
    """Which end of a tilted axis is low nobody says: force of the tailstock and weights add."""
    tailstock = facts.support.get("tailstock")
    if facts.rolling or not (tailstock or facts.tilt > 0):
        return None
    limit = known(facts.motor, "axial_load") if on_motor(facts) else known(facts.support, "largest_axial_load")
    force = known(facts.support, "tailstock_force") if tailstock else 0.0
    if force is None or limit is None:
        return UNKNOWN
    force += facts.along + of(facts.drive, "mass") * G * sin(facts.tilt)
    return Found(force, limit, facts.tilt > 0 and "mass" not in facts.drive)


def tailstock_load(facts: Facts) -> Found | None:
    if facts.rolling or not facts.support.get("tailstock"):
        return None
    out = known(facts.part, "overhang")
    value = facts.weight * out / whole_length(facts) if out is not None else None
    return Found(value, known(facts.support, "largest_tailstock_load"))


def steady_rest_load(facts: Facts) -> Found | None:
    rest = facts.support.get("steady_rest")
    if rest is None:
        return None
    out = known(facts.part, "overhang")
    value = facts.weight * out / si(rest["position"]) if out is not None else None
    return Found(value, known(rest, "largest_load"))


def grip_range(facts: Facts) -> Found | None:
    """The end of the range that is nearer, as a share used up."""
    if facts.rolling:
        return None
    smallest, largest, size = known(facts.drive, "smallest_grip"), known(facts.drive, "largest_grip"), facts.contact
    ends = [(size, largest)] if largest is not None else []
    ends += [(smallest, size)] if smallest is not None else []
    if not ends:
        return UNKNOWN
    value, limit = max(ends, key=lambda end: end[0] / end[1])
    return Found(value, limit, smallest is None or largest is None)


def unsupported_length(facts: Facts) -> Found | None:
    if facts.rolling:
        return None
    sizes = [diameter(facts.part)]
    if facts.part["kind"] == "cone":
        sizes = [si(facts.part["small_diameter"])]
    if facts.part["kind"] == "stepped":
        sizes = [si(cylinder["diameter"]) for cylinder in facts.part["cylinders"]]
    starts, length = [0.0, *places(facts)], whole_length(facts)
    spans = [(end - start, 10.0) for start, end in pairwise(starts)]
    if not facts.support.get("tailstock"):
        spans.append((length - starts[-1], 3.0))
    span, most = max(((span, most) for span, most in spans if span > 0), key=lambda each: each[0] / each[1])
    return Found(span / min(sizes), most, advisory=True)


def power_off(facts: Facts) -> Found:
    """Stays by the detent torque; else creeps behind a self-locking stage; else spins back."""
    detent, gearing = known(facts.motor, "detent_torque"), facts.machine["gearing"]
    locks = any(stage.get("self_locking") for stage in gearing)
    torque = facts.imbalance / facts.ratio
    if facts.lacks("imbalance") or detent is None:
        return UNKNOWN
    unsure = any("self_locking" not in stage for stage in gearing)
    return Found(torque, None if torque > detent and unsure and not locks else detent, advisory=locks)
