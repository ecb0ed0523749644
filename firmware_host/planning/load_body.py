"""Mass and inertia of the described part about its axis. A new kind of part registers one more function here."""

from __future__ import annotations

from dataclasses import dataclass
from functools import singledispatch

from firmware_host.errors import InputError
from firmware_host.mechanics import inertia
from firmware_host.model.part import RoundPart, SolidPart, TubePart


@dataclass(frozen=True, slots=True)
class Body:
    """A part as a turning mass.

    `mass` kg: as weighed, else from the density. `inertia` kg m^2 about the axis of rotation, centre-of-mass offset
    included. `disagreement`: (computed - weighed)/weighed where both are known, else None.
    """

    mass: float
    inertia: float
    disagreement: float | None


@singledispatch
def shape_of(part: RoundPart) -> tuple[float, float]:
    """(volume in m^3, inertia about its own centre line per kg of mass, in m^2) of the described shape."""
    raise InputError(f"no mass properties are known for a part of kind {type(part).__name__}", "Describe another kind")


@shape_of.register
def _solid(part: SolidPart) -> tuple[float, float]:
    radius = part.diameter.si / 2
    return inertia.cylinder_volume(radius, part.length.si), inertia.solid_cylinder_inertia(1.0, radius)


@shape_of.register
def _tube(part: TubePart) -> tuple[float, float]:
    outer, inner = part.diameter.si / 2, part.inner_diameter.si / 2
    return inertia.tube_volume(outer, inner, part.length.si), inertia.tube_inertia(1.0, outer, inner)


def body_of(part: RoundPart) -> Body:
    """Mass properties of `part`; a weighed mass beats density times volume."""
    volume, per_mass = shape_of(part)
    computed = inertia.mass_from_density(part.density.si, volume) if part.density is not None else None
    weighed = part.mass.si if part.mass is not None else None
    mass = weighed if weighed is not None else computed
    if mass is None:
        raise InputError(
            "the part has neither mass nor density", "Give mass (as weighed), density, or both", key="part"
        )
    offset = part.mass_offset.si if part.mass_offset is not None else 0.0
    disagreement = None
    if weighed is not None and computed is not None:
        disagreement = inertia.mass_disagreement(weighed, computed)
    return Body(
        mass=mass,
        inertia=inertia.off_axis_inertia(per_mass * mass, mass, offset),
        disagreement=disagreement,
    )
