"""Limits of a part on rollers (docs: Rollers)."""

from __future__ import annotations

from collections.abc import Iterator
from math import cos, hypot, inf, pi, sin, sqrt

from tests.independent.recompute.facts import Facts
from tests.independent.recompute.trough import forces
from tests.independent.recompute.verdict import UNKNOWN, Found
from tests.independent.values import known, of, si


def places(facts: Facts, *, thrown: bool) -> Iterator[tuple[float, float, float]]:
    """Where the centre of mass is looked at: its part of the gravity torque, and what it throws across and up, N.

    Across at a standstill, and at the corners of a polygon of 16 sides around its circle at the peak speed.
    """
    yield from ((1.0, 0.0, 0.0), (-1.0, 0.0, 0.0))
    throw = facts.moment * facts.motion.peak**2 / cos(pi / 16)
    for corner in range(16 if thrown else 0):
        angle = (2 * corner + 1) * pi / 16
        yield cos(angle) / cos(pi / 16), throw * cos(angle), throw * sin(angle)


def cases(facts: Facts, up: float, down: float, *, thrown: bool = True) -> Iterator[tuple[float, float, float, float]]:
    """The forces of both senses and both ramps at every place of the centre of mass."""
    for sense in (1, -1):
        for acceleration in (sense * up, -sense * down):
            for gravity, across, lift in places(facts, thrown=thrown):
                yield forces(facts, acceleration, gravity * facts.imbalance, sense, lift, across)


def friction_needed(facts: Facts, up: float, down: float, *, thrown: bool = True) -> float:
    of_all = cases(facts, up, down, thrown=thrown)
    return max(abs(f_1) / n_1 if min(n_1, n_2) > 0 else inf for n_1, n_2, f_1, _ in of_all)


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
        needed = friction_needed(facts, 0.0, 0.0, thrown=False)
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
    uneven = max(
        abs(n_1 - n_2) / (n_1 + n_2) if min(n_1, n_2) > 0 else 1.0
        for n_1, n_2, _, _ in cases(facts, a, a, thrown=False)
    )
    return pi * facts.contact * tilt * sin(facts.beta) * uneven


def row_force(facts: Facts, up: float, down: float) -> float:
    """Largest force (N) on the roller that bears most."""
    largest = max(max(hypot(n_1, f_1), hypot(n_2, f_2)) for n_1, n_2, f_1, f_2 in cases(facts, up, down))
    return largest * of(facts.drive, "busiest_share", 1.0)
