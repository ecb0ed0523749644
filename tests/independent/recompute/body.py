"""Mass and inertia of the part (docs: Parts)."""

from __future__ import annotations

import cmath
from math import cos, pi, sin, sqrt
from typing import Any

from tests.independent.values import diameter, known, of, si

# Engineering Guide CDA3000 (Lust Antriebstechnik), Appendix A, table 7.23; the middle of a range.
DENSITY = {
    "aluminium": 2700.0,
    "brass": (8400.0 + 8900.0) / 2,
    "copper": 8960.0,
    "grey_cast_iron": 7600.0,
    "steel": 7860.0,
    "zinc": 7130.0,
}
_GAUSS = [(0.5 - sqrt(0.15), 5 / 18), (0.5, 8 / 18), (0.5 + sqrt(0.15), 5 / 18)]


def discs(part: dict[str, Any]) -> tuple[float, float]:
    """(volume, integral of r^2 dV) of the part's shape, as a sum of discs or by Gauss's three points."""
    size, length = diameter(part), of(part, "length")
    if part["kind"] == "solid":
        return _ring(size, 0.0, length)
    if part["kind"] == "tube":
        return _ring(size, si(part["inner_diameter"]), length)
    if part["kind"] == "stepped":
        rings = [_ring(si(c["diameter"]), of(c, "bore"), si(c["length"])) for c in part["cylinders"]]
        return sum(ring[0] for ring in rings), sum(ring[1] for ring in rings)
    if part["kind"] == "cone":
        return _cone(part, length)
    return _prism(0.02, length, 32)  # the mesh of these tests


def _ring(outer: float, inner: float, length: float) -> tuple[float, float]:
    return pi / 4 * (outer**2 - inner**2) * length, pi / 32 * (outer**4 - inner**4) * length


def _cone(part: dict[str, Any], length: float) -> tuple[float, float]:
    large, small, wall = si(part["large_diameter"]), si(part["small_diameter"]), known(part, "wall")
    volume = moment = 0.0
    for place, weight in _GAUSS:  # exact for the fourth powers in it
        size = large + (small - large) * place
        hole = size - 2 * wall if wall is not None else 0.0
        ring = _ring(size, hole, length * weight)
        volume, moment = volume + ring[0], moment + ring[1]
    return volume, moment


def _prism(radius: float, length: float, sides: int) -> tuple[float, float]:
    """A regular prism: triangles of the height h = r cos(half) and the base 2 r sin(half)."""
    half = pi / sides
    area = sides * radius**2 * sin(half) * cos(half)
    height, base = radius * cos(half), 2 * radius * sin(half)
    return area * length, area * length * (height**2 / 2 + base**2 / 24)


def weight_of(part: dict[str, Any]) -> tuple[float, float, float, float | None]:
    """(mass, inertia about the axis, moment m e of the imbalance, (computed - weighed)/weighed)."""
    weighed, offset = known(part, "mass"), of(part, "mass_offset")
    density = DENSITY[part["material"]] if "material" in part else known(part, "density")
    beside = [_beside(body, density) for body in part.get("bodies", ())]
    added = sum(mass for mass, _, _ in beside)
    volume, per_mass, computed = 0.0, 0.0, None
    if part["kind"] != "measured":
        volume, moment = discs(part)
        per_mass = moment / volume
        computed = density * volume + added if density is not None else None
    mass = weighed if weighed is not None else computed
    if mass is None:
        raise ValueError("neither weighed nor of known density")
    own = mass - added
    inertia = own * (per_mass + offset**2) + sum(each for _, each, _ in beside)
    if part["kind"] == "measured":
        inertia = si(part["inertia"])
    difference = (computed - weighed) / weighed if weighed is not None and computed is not None else None
    return mass, inertia, _imbalance(part, own * offset, sum(arm for _, _, arm in beside)), difference


def _imbalance(part: dict[str, Any], own: float, beside: complex) -> float:
    """m e of round part and bodies: where nobody says at which angle the round part's lies, it adds."""
    angle = known(part, "mass_offset_angle")
    return abs(beside) + own if angle is None else abs(beside + cmath.rect(own, angle))


def _beside(body: dict[str, Any], density: float | None) -> tuple[float, float, complex]:
    """(mass, inertia about the part's axis, m d at its angle) of a body beside it; less than nothing if removed."""
    if body["kind"] == "box":
        outward, across = si(body["outward"]), si(body["across"])
        volume, own = outward * across * si(body["along"]), (outward**2 + across**2) / 12
    else:
        radius, length = si(body["diameter"]) / 2, si(body["length"])
        volume, own = pi * radius**2 * length, radius**2 / 2
        if body.get("direction") == "outward":
            own = (3 * radius**2 + length**2) / 12
    density = DENSITY[body["material"]] if "material" in body else known(body, "density") or density
    mass = known(body, "mass") or (density or 0.0) * volume
    mass = -mass if body.get("removed") else mass
    distance = si(body["distance"])
    return mass, mass * (own + distance**2), mass * distance * cmath.exp(1j * of(body, "angle"))
