"""Mass and inertia of the described part about its axis. A new kind of part registers one more function here."""

from __future__ import annotations

import math
from functools import singledispatch
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from firmware_host.errors import InputError
from firmware_host.mechanics.body import inertia
from firmware_host.mechanics.body.shell import shell_per_mass, shell_volume
from firmware_host.mechanics.body.stepped import Step, stepped_per_mass, stepped_volume
from firmware_host.mechanics.guard import FloatArray
from firmware_host.model.part.part import ConePart, MeasuredPart, MeshPart, RoundPart, SolidPart, SteppedPart, TubePart
from firmware_host.planning.beside import beside_axis, density_stated, require_fitting

if TYPE_CHECKING:
    from firmware_host.model.part.mesh_file import MeshBody

_METRES = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254}
_MESH_TOLERANCE = 0.02


class Body(NamedTuple):
    """A part as a turning mass.

    `mass` kg: as weighed, else from the density, with the bodies beside its axis. `inertia` kg m^2 about the axis of
    rotation, centre-of-mass offset and bodies included. `offset` m of the centre of mass from the axis, at the worst
    angle; None if nobody gave it and no body makes one. `own_offset` m: how much of that the round part's own makes.
    `disagreement`: (computed - weighed)/weighed where both are known, else None. `density_source`: whose density it
    is, "" if none.
    """

    mass: float
    inertia: float
    offset: float | None
    disagreement: float | None
    density_source: str = ""
    own_offset: float = 0.0
    placed: bool = False

    def offset_at(self, own_factor: FloatArray) -> FloatArray:
        """The offset (m, >= 0) where the round part's own is `own_factor` (>= 0) times what it is; bodies don't vary.

        Where its angle is known (`placed`) the sum may turn, so it is not counted as less than now.
        """
        change = (own_factor - 1.0) * self.own_offset
        return (self.offset or 0.0) + (np.abs(change) if self.placed else change)


class Shape(NamedTuple):
    """What the shape alone says.

    `volume` m^3, None if not known; `per_mass` m^2: inertia per kg about the parallel to the axis through the centre of
    mass; `offset` m of the centre of mass, where the shape says it; `on_axis` kg m^2: the measured inertia about the
    axis itself, in place of `per_mass`.
    """

    volume: float | None
    per_mass: float
    offset: float | None = None
    on_axis: float | None = None


@singledispatch
def shape_of(part: RoundPart) -> Shape:
    """What the shape of `part` says of its mass properties."""
    raise InputError(f"no mass properties are known for a part of kind {type(part).__name__}", "Describe another kind")


@shape_of.register
def _solid(part: SolidPart) -> Shape:
    radius = part.diameter.si / 2
    return Shape(inertia.cylinder_volume(radius, part.length.si), inertia.solid_cylinder_inertia(1.0, radius))


@shape_of.register
def _tube(part: TubePart) -> Shape:
    outer, inner = part.diameter.si / 2, part.inner_diameter.si / 2
    return Shape(inertia.tube_volume(outer, inner, part.length.si), inertia.tube_inertia(1.0, outer, inner))


@shape_of.register
def _cone(part: ConePart) -> Shape:
    large, small, length = part.large_diameter.si / 2, part.small_diameter.si / 2, part.length.si
    if part.wall is not None:
        wall = part.wall.si
        return Shape(shell_volume(large, small, wall, length), shell_per_mass(large, small, wall, length))
    return Shape(inertia.frustum_volume(large, small, length), inertia.frustum_inertia(1.0, large, small))


@shape_of.register
def _stepped(part: SteppedPart) -> Shape:
    steps = [
        Step(cylinder.diameter.si / 2, cylinder.length.si, cylinder.bore.si / 2 if cylinder.bore is not None else 0.0)
        for cylinder in part.cylinders
    ]
    return Shape(stepped_volume(steps), stepped_per_mass(steps))


@shape_of.register
def _measured(part: MeasuredPart) -> Shape:
    return Shape(None, 0.0, on_axis=part.inertia.si)


@shape_of.register
def _mesh(part: MeshPart) -> Shape:
    from firmware_host.model.part.mesh_file import read_mesh

    body, metre, axis = read_mesh(Path(part.file)), _METRES[part.unit], "xyz".index(part.axis)
    _require_fitting_mesh(part, body, metre, axis)
    direction = [float(index == axis) for index in range(3)]
    about_centre = inertia.tensor_inertia_about(body.tensor, direction)
    return Shape(
        volume=body.volume * metre**3,
        per_mass=about_centre / body.volume * metre**2,
        offset=body.offset_from(axis) * metre,
    )


def _require_fitting_mesh(part: MeshPart, body: MeshBody, metre: float, axis: int) -> None:
    """Refuse a mesh that contradicts the stated length or diameter: another unit, another axis, or off its origin."""
    length, widest = body.length_along(axis) * metre, 2 * body.radius_about(axis) * metre
    problem = ""
    if not math.isclose(length, part.length.si, rel_tol=_MESH_TOLERANCE):
        problem = f"the mesh is {length * 1e3:.4g} mm long along its {part.axis} axis, but length is {part.length}"
    elif widest < part.diameter.si * (1 - _MESH_TOLERANCE):
        problem = f"the mesh is {widest * 1e3:.4g} mm thick about its {part.axis} axis, but diameter is {part.diameter}"
    if problem:
        remedy = "Check part.unit and part.axis, and that the axis of rotation goes through the file's origin"
        raise InputError(problem, remedy, source=part.file, key="part.file")


def body_of(part: RoundPart) -> Body:
    """Mass properties of `part`; a weighed mass beats density times volume, a stated offset the mesh's own.

    What was weighed is the whole part: without its bodies it weighs that much less. So it is with a measured inertia.
    """
    shape = shape_of(part)
    density, source = _density(part)
    beside = beside_axis(part.bodies, density)
    computed = None
    if density is not None and shape.volume is not None:
        computed = inertia.mass_from_density(density, shape.volume) + beside.mass
    weighed = part.mass.si if part.mass is not None else None
    mass = weighed if weighed is not None else computed
    if mass is None:
        raise InputError(
            "the part has neither mass nor density", "Give mass (as weighed), density, or both", key="part"
        )
    disagreement = None
    if weighed is not None and computed is not None:
        disagreement = inertia.mass_disagreement(weighed, computed)
    own_offset = part.mass_offset.si if part.mass_offset is not None else shape.offset
    without, arm = mass - beside.mass, own_offset or 0.0
    require_fitting(without, mass)
    turning = shape.on_axis
    if turning is None:
        own = inertia.off_axis_inertia(shape.per_mass * without, without, arm)
        turning = own + beside.inertia
        require_fitting(turning, own, "kg m^2")
    offset, angle = own_offset, part.mass_offset_angle.si if part.mass_offset_angle is not None else None
    if part.bodies:
        offset = beside.moment_with(without * arm, angle) / mass
    return Body(mass, turning, offset, disagreement, source, without * arm / mass, angle is not None)


def _density(part: RoundPart) -> tuple[float | None, str]:
    """(kg/m^3, whose figure it is); the middle of the tabulated range of a named material."""
    return density_stated(part.density, part.material, "part.material")
