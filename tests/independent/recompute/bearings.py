"""Limits of what carries the part in a chuck (docs: Supports, Parts)."""

from __future__ import annotations

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


def loads(facts: Facts, overhang: float) -> list[tuple[float, float]]:
    """(weight, distance from the chuck's face) that the spindle carries: of the part, and of the chuck."""
    weight = facts.mass * G
    part = (weight, overhang)
    if facts.support.get("tailstock"):
        part = (abs(weight * (1 - overhang / whole_length(facts))), 0.0)
    return [part, (of(facts.drive, "mass") * G, 0.0)]


def overhang(facts: Facts) -> Found | None:
    if facts.rolling:
        return None
    out, most, base = (
        known(facts.part, "overhang"),
        known(facts.support, "largest_overhang_moment"),
        known(facts.support, "overhang_base"),
    )
    if out is None and most is None:
        return None
    if out is None or most is None or base is None:
        return UNKNOWN
    return Found(sum(w * (base + x) for w, x in loads(facts, out)), most, "mass" not in facts.drive)


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
    return Found(value, limit, "mass" not in facts.drive)


def axial_load(facts: Facts) -> Found | None:
    if facts.rolling or not facts.support.get("tailstock"):
        return None
    limit = known(facts.motor, "axial_load") if on_motor(facts) else known(facts.support, "largest_axial_load")
    return Found(known(facts.support, "tailstock_force"), limit)


def tailstock_load(facts: Facts) -> Found | None:
    if facts.rolling or not facts.support.get("tailstock"):
        return None
    out = known(facts.part, "overhang")
    value = facts.mass * G * out / whole_length(facts) if out is not None else None
    return Found(value, known(facts.support, "largest_tailstock_load"))


def unsupported_length(facts: Facts) -> Found | None:
    if facts.rolling:
        return None
    sizes = [diameter(facts.part)]
    if facts.part["kind"] == "cone":
        sizes = [si(facts.part["small_diameter"])]
    if facts.part["kind"] == "stepped":
        sizes = [si(cylinder["diameter"]) for cylinder in facts.part["cylinders"]]
    return Found(whole_length(facts) / min(sizes), 10.0 if facts.support.get("tailstock") else 3.0, advisory=True)


def power_off(facts: Facts) -> Found:
    """Stays by the detent torque; else creeps behind a self-locking stage; else spins back."""
    detent, gearing = known(facts.motor, "detent_torque"), facts.machine["gearing"]
    locks = any(stage.get("self_locking") for stage in gearing)
    torque = facts.imbalance / facts.ratio
    if facts.lacks("imbalance") or detent is None:
        return UNKNOWN
    unsure = any("self_locking" not in stage for stage in gearing)
    return Found(torque, None if torque > detent and unsure and not locks else detent, advisory=locks)
