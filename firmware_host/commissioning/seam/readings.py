"""What can be measured after a part was marked, each with what it should be and how well it was read."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import TYPE_CHECKING

from firmware_host.commissioning.estimates.measured import of_limits
from firmware_host.errors import InputError

if TYPE_CHECKING:
    from firmware_host.commissioning.seam.causes import Cause
    from firmware_host.commissioning.seam.marked import MarkedPart


_MOST = 1e6
"""Nothing of a part is so many metres, radians or turns."""


@dataclass(frozen=True)
class Reading(ABC):
    """One value as it was read. `within`: it lies that close to the true one, the same unit, > 0 (a limit)."""

    within: float

    def __post_init__(self) -> None:
        if not 0 < self.within < math.inf:
            raise InputError(f"a reading good to {self.within:g}", "Say how closely it can be read, above 0")
        for value in vars(self).values():
            if not abs(value) <= _MOST:
                raise InputError(f"a reading of {value:g}", "Read it again: look at the number and its unit")

    @property
    def deviation(self) -> float:
        """Standard uncertainty of a value known to lie within limits, any place alike: JCGM 100:2008, 4.3.7."""
        return of_limits(self.within)

    @abstractmethod
    def excess(self, part: MarkedPart) -> float:
        """The reading less what it should be if nothing were wrong."""

    @abstractmethod
    def effect(self, cause: Cause, part: MarkedPart) -> tuple[float, ...]:
        """What `cause` adds to the reading for one unit of each of its amounts."""


@dataclass(frozen=True)
class SeamReading(Reading):
    """Gap (m, + a gap, - an overlap) at seam `seam` (from 1; the closing one is the last).

    `place`: 0 in the middle of the mark, -1 and 1 at its two ends along the axis.
    """

    gap: float
    seam: int
    place: int = 0

    def excess(self, part: MarkedPart) -> float:
        if not 1 <= self.seam <= part.pitches.size:
            raise InputError(f"there is no seam {self.seam}", f"There are {part.pitches.size} seams", key="seam")
        return self.gap - float(part.expected[self.seam - 1])

    def effect(self, cause: Cause, part: MarkedPart) -> tuple[float, ...]:
        return cause.at_seam(part, self.seam - 1, self.place)


@dataclass(frozen=True)
class StepReading(Reading):
    """Step along the axis (m) from one mark to the next at a seam, + towards the part's free end."""

    step: float

    def excess(self, part: MarkedPart) -> float:
        return self.step

    def effect(self, cause: Cause, part: MarkedPart) -> tuple[float, ...]:
        return cause.step(part)


@dataclass(frozen=True)
class PartDiameter(Reading):
    """The part's diameter (m) as measured where it is marked."""

    diameter: float

    def excess(self, part: MarkedPart) -> float:
        return self.diameter - part.diameter

    def effect(self, cause: Cause, part: MarkedPart) -> tuple[float, ...]:
        return cause.of_part_diameter(part)


@dataclass(frozen=True)
class RollerDiameter(Reading):
    """The driven roller's diameter (m) as measured where the part lies on it."""

    diameter: float

    def excess(self, part: MarkedPart) -> float:
        return self.diameter - part.roller_diameter

    def effect(self, cause: Cause, part: MarkedPart) -> tuple[float, ...]:
        return cause.of_roller_diameter(part)


@dataclass(frozen=True)
class MarkedWidth(Reading):
    """Width around (m) of the widest segment as it was marked, measured along the surface."""

    width: float

    def excess(self, part: MarkedPart) -> float:
        return self.width - float(part.arcs.max())

    def effect(self, cause: Cause, part: MarkedPart) -> tuple[float, ...]:
        return cause.of_marked_width(part)


@dataclass(frozen=True)
class PartLine(Reading):
    """How far (m along the surface) a line on the part stands from where it began after `turns` turns of the part.

    + it went too far. Approached from one side, so that lost motion is not in it.
    """

    off: float
    turns: float

    def excess(self, part: MarkedPart) -> float:
        return self.off

    def effect(self, cause: Cause, part: MarkedPart) -> tuple[float, ...]:
        return cause.of_part_line(part, self.turns)


@dataclass(frozen=True)
class ShaftLine(Reading):
    """How far (rad) a line on the chuck or the driven roller stands off after `turns` of its turns; as `PartLine`."""

    off: float
    turns: float

    def excess(self, part: MarkedPart) -> float:
        return self.off

    def effect(self, cause: Cause, part: MarkedPart) -> tuple[float, ...]:
        return cause.of_shaft_line(part, self.turns)


@dataclass(frozen=True)
class Reversal(Reading):
    """How far (m along the surface) the part lags when the axis is turned on and back by the same: its lost motion."""

    lag: float

    def excess(self, part: MarkedPart) -> float:
        return self.lag

    def effect(self, cause: Cause, part: MarkedPart) -> tuple[float, ...]:
        return cause.of_reversal(part)
