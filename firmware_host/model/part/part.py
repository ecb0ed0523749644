"""The round part."""

from abc import ABC, abstractmethod
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any, Literal, Self, cast

from pydantic import (
    Field,
    SerializerFunctionWrapHandler,
    ValidationInfo,
    field_validator,
    model_serializer,
    model_validator,
)

from firmware_host.model.base import Described, contradiction
from firmware_host.model.by_kind import ByKind
from firmware_host.model.part.bodies import AnySideBody
from firmware_host.units import PI, Density, Inertia, Length, LengthOrZero, Mass, Quantity, SignedAngle

#: How far a circumference measured with a tape may be off the cylinder that it was measured on (common practice).
_TAPE = Fraction(1, 100)


class Arc(Described):
    """An arc of the surface, from one angle on to another (a handle, a weld)."""

    start: SignedAngle
    end: SignedAngle

    @model_validator(mode="after")
    def _shorter_than_a_turn(self) -> Self:
        between = self.end.exact - self.start.exact
        if between % 1 == 0:
            raise contradiction("end", f"{self.end} is the same place as start {self.start}: an arc has two ends")
        if abs(between) > 1:
            raise contradiction("end", f"{self.end} is more than one turn from start {self.start}")
        return self

    @property
    def length(self) -> Fraction:
        """From start on to end in the positive direction, in turns, between 0 and 1: across zero where end is less."""
        return (self.end.exact - self.start.exact) % 1


class RoundPart(Described, ABC):
    """What every round part has; a new kind of part is one more subclass and one more kind in `AnyPart`."""

    circumference: Length | None = Field(
        default=None, description="as measured with a tape where it is marked, instead of diameter"
    )
    diameter: Length = Field(default=cast(Any, None), description="where it is marked; give this or circumference")
    contact_diameter: Length | None = Field(default=None, description="where rollers or jaws touch it, if another")
    density: Density | None = None
    material: str | None = Field(default=None, max_length=40, description="a tabulated density, instead of density")
    mass: Mass | None = Field(default=None, description="as weighed, with all its bodies; beats density times volume")
    mass_offset: LengthOrZero | None = Field(
        default=None, description="centre of mass from the axis, of the part without its bodies"
    )
    mass_offset_angle: SignedAngle | None = Field(
        default=None, description="where that lies, beside bodies; left out, where it adds to theirs"
    )
    bodies: tuple[AnySideBody, ...] = Field(
        default=(), max_length=50, strict=False, description="beside the axis: a handle, a boss, a cut"
    )
    overhang: LengthOrZero | None = Field(default=None, description="chuck's face to the centre of mass")
    keep_out: tuple[Arc, ...] = Field(default=(), max_length=50, strict=False)

    @property
    @abstractmethod
    def whole_length(self) -> Length:
        """Length along the axis, end to end."""

    @property
    def contact(self) -> Length:
        """Diameter at the drive."""
        return self.contact_diameter or self.diameter

    @property
    def thinnest(self) -> Length:
        """Least outer diameter: where the part bends most."""
        return self.diameter

    @property
    def contact_known(self) -> bool:
        """Whether `contact` follows from what was described; a tapered part that says nothing leaves it open."""
        return True

    @property
    def contact_spread(self) -> Fraction:
        """How far the diameters of several places of contact differ, as plus-minus a part of `contact` (>= 0)."""
        return Fraction(0)

    @property
    def taper(self) -> Fraction:
        """Change of the radius per length along the axis (>= 0): the tangent of a cone's half-angle."""
        return Fraction(0)

    @field_validator("diameter", mode="before")
    @classmethod
    def _from_circumference(cls, value: object, info: ValidationInfo) -> object:
        """A diameter that is not given follows from the circumference, exactly."""
        if value is not None:
            return value
        if "circumference" not in info.data:  # it is wrong, and has an error of its own
            return "1 m"
        around: Quantity | None = info.data["circumference"]
        if around is None:
            raise contradiction("diameter", "give diameter, or circumference as measured with a tape")
        size = around.exact / PI
        return Quantity(f"{float(size) * 1e3:.10g} mm", size, "length")

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        around = self.circumference
        if around is not None and self.diameter.exact * PI != around.exact:
            raise contradiction("circumference", "give diameter or circumference, not both")
        return self

    @model_serializer(mode="wrap")
    def _as_written(self, handler: SerializerFunctionWrapHandler) -> dict[str, Any]:
        """As a file holds it: no diameter beside the circumference that it follows from."""
        tables: dict[str, Any] = handler(self)
        return tables | {"diameter": None} if self.circumference is not None else tables

    @model_validator(mode="after")
    def _has_mass(self) -> Self:
        if self.density is not None and self.material is not None:
            raise contradiction("material", "give density or material, not both")
        if self.mass is None and self.density is None and self.material is None:
            raise contradiction(
                "mass", "give mass (as weighed), a density, or both (material names a tabulated density)"
            )
        return self

    @model_validator(mode="after")
    def _offset_has_its_angle_beside_bodies(self) -> Self:
        if self.mass_offset_angle is not None and (self.mass_offset is None or not self.bodies):
            wanted = "mass_offset" if self.mass_offset is None else "bodies"
            raise contradiction("mass_offset_angle", f"it says something only together with {wanted}; leave it out")
        return self


class StraightPart(RoundPart):
    """What every part with one stated length has."""

    length: Length

    @property
    def whole_length(self) -> Length:
        return self.length


class SolidPart(StraightPart):
    """A solid cylinder."""

    kind: Literal["solid"]


class TubePart(StraightPart):
    """A hollow cylinder."""

    kind: Literal["tube"]
    inner_diameter: Length

    @model_validator(mode="after")
    def _has_wall(self) -> Self:
        if self.inner_diameter.exact >= self.diameter.exact:
            raise contradiction("inner_diameter", f"{self.inner_diameter} must be less than diameter {self.diameter}")
        return self


class ConePart(StraightPart):
    """A cone frustum, solid or a shell: marked at `diameter`, the places of contact are measured along the axis."""

    kind: Literal["cone"]
    large_diameter: Length
    small_diameter: Length
    wall: Length | None = Field(default=None, description="of a hollow one, across the radius; without it, solid")
    contact_from: tuple[LengthOrZero, ...] = Field(
        default=(), max_length=4, strict=False, description="where rollers touch it, each from the large end"
    )

    @model_validator(mode="after")
    def _is_a_cone(self) -> Self:
        large, small = self.large_diameter, self.small_diameter
        if small.exact >= large.exact:
            raise contradiction("small_diameter", f"{small} must be less than large_diameter {large}")
        if self.wall is not None and 2 * self.wall.exact >= small.exact:
            raise contradiction("wall", f"{self.wall} leaves nothing hollow in small_diameter {small}")
        for key in ("diameter", "contact_diameter"):
            size = getattr(self, key)
            if size is not None and not small.exact <= size.exact <= large.exact:
                raise contradiction(key, f"{size} must lie between small_diameter {small} and large_diameter {large}")
        if self.contact_from and self.contact_diameter is not None:
            raise contradiction("contact_from", "give contact_from or contact_diameter, not both")
        for place in self.contact_from:
            if place.exact > self.length.exact:
                raise contradiction("contact_from", f"{place} lies beyond the part's length {self.length}")
        return self

    def diameter_at(self, place: LengthOrZero) -> Fraction:
        """Diameter in m, exactly, at a distance from the large end."""
        return self.large_diameter.exact - 2 * self.taper * place.exact

    @property
    def contact(self) -> Length:
        """Diameter at the drive; with several places of contact, the mean of the thickest and the thinnest."""
        if not self.contact_from:
            return self.contact_diameter or self.diameter
        places = [place.exact for place in self.contact_from]
        mean = self.large_diameter.exact - self.taper * (min(places) + max(places))
        return Quantity(f"{float(mean) * 1e3:.10g} mm", mean, "length")

    @property
    def contact_known(self) -> bool:
        return bool(self.contact_from) or self.contact_diameter is not None

    @property
    def contact_spread(self) -> Fraction:
        if not self.contact_from:
            return Fraction(0)
        sizes = [self.diameter_at(place) for place in self.contact_from]
        return (max(sizes) - min(sizes)) / (max(sizes) + min(sizes))

    @property
    def taper(self) -> Fraction:
        return (self.large_diameter.exact - self.small_diameter.exact) / (2 * self.length.exact)

    @property
    def thinnest(self) -> Length:
        return self.small_diameter


class Cylinder(Described):
    """One cylinder of a stepped shaft."""

    diameter: Length
    length: Length
    bore: LengthOrZero | None = Field(default=None, description="diameter of a hole along the axis")

    @model_validator(mode="after")
    def _has_wall(self) -> Self:
        if self.bore is not None and self.bore.exact >= self.diameter.exact:
            raise contradiction("bore", f"{self.bore} must be less than diameter {self.diameter}")
        return self


class SteppedPart(RoundPart):
    """A shaft of several cylinders, one after the other along the axis."""

    kind: Literal["stepped"]
    cylinders: tuple[Cylinder, ...] = Field(min_length=1, max_length=100, strict=False)

    @property
    def whole_length(self) -> Length:
        total = sum((cylinder.length.exact for cylinder in self.cylinders), start=Fraction(0))
        return Quantity(f"{float(total) * 1e3:.10g} mm", total, "length")

    @property
    def thinnest(self) -> Length:
        return min((cylinder.diameter for cylinder in self.cylinders), key=lambda size: size.exact)

    @model_validator(mode="after")
    def _touched_on_a_cylinder(self) -> Self:
        sizes = {cylinder.diameter.exact for cylinder in self.cylinders}
        for key in ("diameter", "contact_diameter"):
            size, taped = getattr(self, key), key == "diameter" and self.circumference is not None
            if size is None or size.exact in sizes:
                continue
            if taped and any(abs(size.exact / each - 1) <= _TAPE for each in sizes):
                continue
            known = ", ".join(str(cylinder.diameter) for cylinder in self.cylinders)
            written = "circumference" if taped else key
            raise contradiction(written, f"{size} is the diameter of none of the cylinders ({known})")
        return self


class MeshPart(StraightPart):
    """A part of any shape, from a closed triangle mesh; it turns about one axis of the file's coordinates."""

    kind: Literal["mesh"]
    file: str = Field(min_length=1, max_length=300, description="STL, OBJ or PLY file, beside the job file")
    unit: Literal["mm", "cm", "m", "in"] = Field(default="mm", description="of the file's coordinates")
    axis: Literal["x", "y", "z"] = Field(default="z", description="axis of rotation, through the file's origin")

    @field_validator("file")
    @classmethod
    def _beside_the_job(cls, value: str, info: ValidationInfo) -> str:
        """A relative path starts at the folder that the validation's context names."""
        folder = (info.context or {}).get("folder")
        return str(Path(folder) / value) if folder is not None else value


class MeasuredPart(StraightPart):
    """A part whose inertia was measured, about the axis that it turns on."""

    kind: Literal["measured"]
    inertia: Inertia = Field(description="about the axis of rotation, offset included")

    @model_validator(mode="after")
    def _is_weighed(self) -> Self:
        if self.mass is None:
            raise contradiction("mass", "a part of measured inertia needs its mass as weighed")
        if self.density is not None or self.material is not None:
            key = "density" if self.density is not None else "material"
            raise contradiction(key, "a part of measured inertia has no known volume; leave it out")
        return self


AnyPart = Annotated[
    SolidPart | TubePart | ConePart | SteppedPart | MeshPart | MeasuredPart,
    ByKind(SolidPart, TubePart, ConePart, SteppedPart, MeshPart, MeasuredPart),
]
