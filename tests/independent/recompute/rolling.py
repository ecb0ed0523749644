"""Limits of a part on rollers (docs: Rollers)."""

from __future__ import annotations

from collections.abc import Iterator
from math import cos, hypot, inf, pi, sin, sqrt

from tests.independent.recompute.facts import Facts
from tests.independent.recompute.trough import forces
from tests.independent.recompute.verdict import UNKNOWN, Found
from tests.independent.values import known, of, si


def cases(facts: Facts, up: float, down: float) -> Iterator[tuple[float, float, float, float]]:
    """The forces of both senses, both ramps and both signs of the imbalance."""
    for sense in (1, -1):
        for acceleration in (sense * up, -sense * down):
            for load in (facts.imbalance, -facts.imbalance):
                yield forces(facts, acceleration, load, sense)


def friction_needed(facts: Facts, up: float, down: float) -> float:
    return max(abs(f_1) / n_1 if min(n_1, n_2) > 0 else inf for n_1, n_2, f_1, _ in cases(facts, up, down))


def seat_lost(facts: Facts, up: float, down: float) -> float:
    resting = facts.weight / (2 * cos(facts.beta))
    return 1 - min(min(n_1, n_2) for n_1, n_2, _, _ in cases(facts, up, down)) / resting


def spread(facts: Facts) -> float:
    """How far the diameters of several places of contact differ, plus-minus, as a part of their middle."""
    if "contact_from" not in facts.part:
        return 0.0
    large, small, length = (si(facts.part[key]) for key in ("large_diameter", "small_diameter", "length"))
    sizes = [large - (large - small) * si(place) / length for place in facts.part["contact_from"]]
    return (max(sizes) - min(sizes)) / (max(sizes) + min(sizes))


def falls_through(facts: Facts) -> Found | None:
    if not facts.rolling:
        return None
    return Found(facts.centres, facts.contact * (1 - spread(facts)) + facts.roller)


def grip(facts: Facts) -> Found | None:
    if not facts.rolling:
        return None
    a = facts.motion.acceleration
    return Found(friction_needed(facts, a, a), facts.mu_left, facts.lacks("friction", "imbalance"))


def seating(facts: Facts) -> Found | None:
    if not facts.rolling:
        return None
    a = facts.motion.acceleration
    return Found(seat_lost(facts, a, a), 1.0, facts.lacks("friction", "imbalance"))


def spot(facts: Facts) -> float | None:
    window = facts.job["window"]
    beam = si(window["beam"]["waist_diameter"]) if "beam" in window else None
    return known(window, "spot_diameter") or beam


def creep_ratio(facts: Facts, used: float, mu: float, width: float) -> float:
    radius = 1 / (2 / facts.contact + 2 / facts.roller)
    return inf if used > 1 else mu * width / 2 / radius * (1 - sqrt(1 - used))


def creep(facts: Facts) -> Found | None:
    if not facts.rolling:
        return None
    width, seen, slip = known(facts.drive, "contact_width"), spot(facts), facts.drive.get("slip", 0.0)
    if seen is None or (width is None and slip == 0):
        return UNKNOWN
    ratio = slip
    if slip == 0 and width is not None:
        needed = friction_needed(facts, 0.0, 0.0)
        ratio = creep_ratio(facts, needed / facts.mu_left if facts.mu_left else inf, facts.mu_left, width)
    value = (ratio + spread(facts)) * facts.contact / 2 * facts.motion.longest
    return Found(value, seen / 2, slip == 0 and facts.lacks("friction", "imbalance"), advisory=True)


def loose(facts: Facts) -> bool:
    """Whether the part may move along rollers."""
    return facts.rolling and not facts.drive.get("axial_stop")


def axial_slide(facts: Facts) -> Found | None:
    return Found(facts.friction_along, facts.mu) if loose(facts) and facts.tilt > 0 else None


def axial_walk(facts: Facts) -> Found | None:
    """A cone walks, and any part creeps down a tilted axis."""
    conical, tilted = facts.part["kind"] == "cone", facts.tilt > 0
    if not loose(facts) or not (conical or tilted):
        return None
    seen, width = spot(facts), known(facts.drive, "contact_width")
    if seen is None or (tilted and width is None):
        return UNKNOWN
    turn = _cone_walk(facts) if conical else 0.0
    if tilted and width is not None:
        down = creep_ratio(facts, facts.friction_along / facts.mu, facts.mu, width)
        if down == inf:
            return None
        turn += pi * facts.contact * 2 * down
    return Found(turn * facts.motion.longest / (2 * pi), seen / 2, facts.lacks("friction"), advisory=not tilted)


def _cone_walk(facts: Facts) -> float:
    """In a turn, m."""
    large, small, length = (si(facts.part[key]) for key in ("large_diameter", "small_diameter", "length"))
    slant = (large - small) / 2 / length / cos(facts.beta)
    tilt = slant / sqrt(1 + slant**2)
    a = facts.motion.acceleration
    uneven = max(abs(n_1 - n_2) / (n_1 + n_2) if min(n_1, n_2) > 0 else 1.0 for n_1, n_2, _, _ in cases(facts, a, a))
    return pi * facts.contact * tilt * sin(facts.beta) * uneven


def row_force(facts: Facts, up: float, down: float) -> float:
    """Largest force (N) on the roller that bears most."""
    largest = max(max(hypot(n_1, f_1), hypot(n_2, f_2)) for n_1, n_2, f_1, f_2 in cases(facts, up, down))
    return largest * of(facts.drive, "busiest_share", 1.0)
