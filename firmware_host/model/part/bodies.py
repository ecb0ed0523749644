"""Bodies beside the axis of a part: a handle, a boss, a flange that is cut away on one side."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from firmware_host.model.base import Described, contradiction
from firmware_host.model.by_kind import ByKind
from firmware_host.units import Density, Length, LengthOrZero, Mass, SignedAngle, parse_quantity


class SideBody(Described):
    """What every body beside the axis has. Of the part's own density if it states neither mass nor density."""

    distance: LengthOrZero = Field(description="from the part's axis to the middle of the body")
    angle: SignedAngle = Field(
        default=parse_quantity("0 deg", "angle", "any"), description="where it lies around the part"
    )
    mass: Mass | None = Field(default=None, description="as weighed; left out, density times volume")
    density: Density | None = Field(default=None, description="left out, the part's own")
    material: str | None = Field(default=None, max_length=40, description="a tabulated density, instead of density")
    removed: bool = Field(default=False, description="it is cut away from the part, not added to it")

    @model_validator(mode="after")
    def _one_weight(self) -> Self:
        given = [key for key in ("mass", "density", "material") if getattr(self, key) is not None]
        if len(given) > 1:
            raise contradiction(given[1], f"give at most one of mass, density and material, not {' and '.join(given)}")
        return self


class SideCylinder(SideBody):
    """A solid cylinder: a boss, a pin, a hole."""

    kind: Literal["cylinder"]
    diameter: Length
    length: Length
    direction: Literal["along", "outward"] = Field(
        default="along", description="of its own axis: along the part's, or outward from it"
    )


class SideBox(SideBody):
    """A box: a handle, a flat, a key."""

    kind: Literal["box"]
    outward: Length = Field(description="its size outward from the part's axis")
    across: Length = Field(description="its size around the part, square to outward")
    along: Length = Field(description="its size along the part's axis")


AnySideBody = Annotated[SideCylinder | SideBox, ByKind(SideCylinder, SideBox)]
