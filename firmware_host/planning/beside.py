"""The bodies beside a part's axis, all together: what they weigh, what turning them takes, where they pull."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import singledispatch
from typing import NamedTuple

from firmware_host.errors import InputError
from firmware_host.mechanics.body import inertia
from firmware_host.mechanics.body.density import density_of
from firmware_host.mechanics.body.eccentric import box_inertia, combined_moment, crosswise_cylinder_inertia
from firmware_host.model.part.bodies import AnySideBody, SideBox, SideCylinder
from firmware_host.units import Quantity


class Beside(NamedTuple):
    """Bodies beside the axis together; what is cut away counts as negative.

    `mass` kg; `inertia` kg m^2 about the part's axis; `moments`: of each its mass times its distance (kg m) and its
    angle (rad).
    """

    mass: float
    inertia: float
    moments: tuple[tuple[float, float], ...]

    def moment_with(self, moment: float, angle: float | None) -> float:
        """Static moment (kg m, >= 0) together with the part's own, at its `angle` (rad), or at the worst (None)."""
        if angle is None:
            return combined_moment(self.moments, anywhere=moment)
        return combined_moment((*self.moments, (moment, angle)))


def beside_axis(bodies: Sequence[AnySideBody], density: float | None) -> Beside:
    """All of a part's bodies beside its axis; of `density` (kg/m^3, the part's own) where they state none."""
    mass = turning = 0.0
    moments = []
    for number, body in enumerate(bodies):
        sign = -1.0 if body.removed else 1.0
        own, distance = _mass(body, density, f"part.bodies[{number}]"), body.distance.si
        mass += sign * own
        turning += sign * inertia.off_axis_inertia(_shape(body)[1] * own, own, distance)
        moments.append((sign * own * distance, body.angle.si))
    return Beside(mass, turning, tuple(moments))


def require_fitting(left: float, whole: float, unit: str = "kg") -> None:
    """Refuse bodies that leave nothing of the part: neither of its mass (kg), nor of its inertia (kg m^2)."""
    if left <= 0:
        raise InputError(
            f"without its bodies the part of {whole:.4g} {unit} has {left:.4g} {unit}",
            "Check their sizes and distances; part.mass is that of the whole part as weighed, with its bodies",
            key="part.bodies",
        )


def density_stated(density: Quantity | None, material: str | None, key: str) -> tuple[float | None, str]:
    """(kg/m^3, whose figure it is) as stated, or the middle of the tabulated range of a material; `key`: of that."""
    if density is not None:
        return density.si, "the density stated"
    if material is None:
        return None, ""
    try:
        row = density_of(material)
    except InputError as error:
        raise replace(error, key=key) from error
    return row.middle, f"{material}, {row.source}"


def _mass(body: AnySideBody, density: float | None, key: str) -> float:
    if body.mass is not None:
        return body.mass.si
    own, _ = density_stated(body.density, body.material, f"{key}.material")
    if own is None:
        own = density
    if own is None:
        raise InputError(
            "a body beside the axis has neither mass nor density, and the part states no density",
            f"Give {key}.mass or {key}.density, or part.density",
            key=key,
        )
    return inertia.mass_from_density(own, _shape(body)[0])


@singledispatch
def _shape(body: AnySideBody) -> tuple[float, float]:
    """(volume in m^3, inertia per kg in m^2 about the parallel to the part's axis through the body's own centre)."""
    raise InputError(f"no shape is known for a body of kind {type(body).__name__}", "Describe another kind")


@_shape.register
def _box(body: SideBox) -> tuple[float, float]:
    outward, across = body.outward.si, body.across.si
    return outward * across * body.along.si, box_inertia(1.0, outward, across)


@_shape.register
def _cylinder(body: SideCylinder) -> tuple[float, float]:
    radius, length = body.diameter.si / 2, body.length.si
    along = body.direction == "along"
    per_mass = inertia.solid_cylinder_inertia(1.0, radius) if along else crosswise_cylinder_inertia(1.0, radius, length)
    return inertia.cylinder_volume(radius, length), per_mass
