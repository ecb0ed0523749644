"""What every kind of drive answers about itself, so that nothing else asks which kind it is."""

from abc import ABC, abstractmethod
from collections.abc import Iterable
from fractions import Fraction
from typing import ClassVar, Literal, NamedTuple

from firmware_host.model.base import Described
from firmware_host.units import Length

AxisUnit = Literal["deg", "mm"]


class ShaftBody(NamedTuple):
    """What turns with the drive's shaft: its name, and its inertia about that shaft, kg m^2."""

    name: str
    inertia: float


class Cradle(NamedTuple):
    """Two rows of rollers that a part lies on, SI; None where nobody gave it.

    `roller_inertia` kg m^2: of all rollers together. `idle_friction_torque` N m: bearings of the idle row together.
    `surfaces`: a tabulated pair, for what is not given of `friction` and `rolling_resistance` (m, lever arm). `slip`:
    measured creep, part of the surface travel. `contact_width` m of the flattened contact. `axial_stop`: whether
    something keeps the part from walking, and `stop_friction_torque` N m of that on the part. `largest_bearing_load` N:
    radial, that the bearings of one roller bear together. `busiest_share`: part of its row's load on the roller that
    bears most, 1 where nobody gave it. The keys of a drive that has one are named as these are.
    """

    roller_diameter: float
    centre_distance: float
    driven_rows: Literal[1, 2]
    roller_inertia: float | None
    friction: float | None
    surfaces: str | None
    rolling_resistance: float | None
    idle_friction_torque: float | None
    slip: float
    contact_width: float | None
    axial_stop: bool
    stop_friction_torque: float | None = None
    largest_bearing_load: float | None = None
    busiest_share: float = 1.0


class Drive(Described, ABC):
    """What every drive answers. A new kind is a subclass in a file of its own, and its place in `registry.py`."""

    sets_surface_travel: ClassVar[Literal["part", "roller"]]
    """Whose diameter decides how far the surface travels: a wrong one makes gaps or overlaps at every seam."""

    part_on_shaft: ClassVar[bool] = False
    """Whether the part turns as one with the drive's shaft, and not beside it."""

    @property
    def rolls_on_part(self) -> bool:
        """Whether the part's diameter decides how far it turns: a thicker one then turns less, at the same travel."""
        return self.sets_surface_travel == "roller"

    @abstractmethod
    def shaft_turns_per_part_turn(self, contact_diameter: Length) -> Fraction:
        """Turns of the drive's shaft per turn of a part of that contact diameter, exactly."""

    @abstractmethod
    def axis_units_per_shaft_turn(self, unit: AxisUnit) -> Fraction | None:
        """Controller units per turn of the drive's shaft, exactly; None if this drive has no such unit."""

    @abstractmethod
    def surface_scale(self, part_ratio: float, true_roller_diameter: float | None) -> float:
        """Surface travel over planned travel, for a part `part_ratio` times as thick as entered, a true roller (m)."""

    @abstractmethod
    def surface_uncertainty(self, diameter: Length, diameter_uncertainty: Length | None) -> float:
        """Relative uncertainty of the surface travel (>= 0) from how well the driving diameter is known."""

    @property
    @abstractmethod
    def shaft_body(self) -> ShaftBody:
        """What turns with the drive's shaft besides the part."""

    @property
    @abstractmethod
    def shaft_friction(self) -> float | None:
        """Friction of the bearings at the drive's shaft, N m; None if `friction_torque` was not given."""

    @property
    def cradle(self) -> Cradle | None:
        """The rollers that the part lies on; None where the drive holds the part otherwise."""
        return None

    @property
    def weight(self) -> tuple[float, tuple[str, ...]]:
        """(mass in kg that hangs on the spindle's bearings besides the part, keys of what was not given of it)."""
        return 0.0, ()

    @property
    def grip_range(self) -> tuple[Length | None, Length | None] | None:
        """(thinnest, thickest) diameter that the jaws hold, None of either if not given; None without jaws."""
        return None

    def told(self, key: str) -> str:
        """What this drive's value of `key` means for a machinist, in a sentence; else empty."""
        return ""

    def stronger(self) -> Iterable[tuple[str, "Drive"]]:
        """The drive with one thing stronger each, and the key with its new value."""
        return ()
