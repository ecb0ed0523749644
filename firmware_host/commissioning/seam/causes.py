"""What may be wrong, and what each such thing does to the seams and to every other reading.

All are linear in the amount that is wrong. Signs: + a gap, - an overlap. `P` is the pitch from one segment to the next
along the surface, `T` the way from the first to the last (closing seam: circumference = T + P). Circle geometry; the
formulas of the seams are those of `planning/layout/seams.py` read backwards. A strip is drawn flat, from above: what is
drawn r sin(f) from its middle burns r f away, f half its angle, so that on a surface (1 + x) times as far from the axis
half of it burns x r (tan f - f) narrower, and drawn (1 + x) times as wide x r tan f wider.
"""

from __future__ import annotations

import math
from abc import ABC
from dataclasses import dataclass
from typing import ClassVar

from firmware_host.commissioning.seam.correction import Correction, Off, other_size
from firmware_host.commissioning.seam.marked import MarkedPart
from firmware_host.commissioning.sensible import NO_WHEEL, sensible_ratios
from firmware_host.model import Setup

Amounts = tuple[float, ...]


@dataclass(frozen=True)
class Cause(ABC):
    """One thing that may be wrong. `count`: of its amounts (two where it has a size and a direction).

    `usual`, `unusual`: standard deviations of the amount where it is wrong by little, and by a lot. `often`: how often
    it is the one, beside the others. All three: common practice, no source. `one_sided`: the amount can't be negative.
    """

    key: ClassVar[str]
    name: ClassVar[str]
    usual: ClassVar[float]
    unusual: ClassVar[float]
    often: ClassVar[float]
    count: ClassVar[int] = 1
    one_sided: ClassVar[bool] = False

    @property
    def nothing(self) -> Amounts:
        """No effect at all."""
        return (0.0,) * self.count

    def applies(self, part: MarkedPart) -> bool:
        """Whether such a part on such a machine can have it."""
        return True

    def at_seam(self, part: MarkedPart, seam: int, place: int) -> Amounts:
        """Gap (m) at seam `seam` (from 0) and `place` (-1, 0, 1 along the axis) for one unit of each amount."""
        return self.nothing

    def step(self, part: MarkedPart) -> Amounts:
        """Step along the axis from mark to mark (m)."""
        return self.nothing

    def of_part_diameter(self, part: MarkedPart) -> Amounts:
        """What a calliper reads more than was entered (m)."""
        return self.nothing

    def of_roller_diameter(self, part: MarkedPart) -> Amounts:
        """The same at the driven roller (m)."""
        return self.nothing

    def of_marked_width(self, part: MarkedPart) -> Amounts:
        """What the widest segment is wider than planned (m)."""
        return self.nothing

    def of_part_line(self, part: MarkedPart, turns: float) -> Amounts:
        """How far a line on the part comes to stand off after whole turns (m)."""
        return self.nothing

    def of_shaft_line(self, part: MarkedPart, turns: float) -> Amounts:
        """How far a line on the chuck or the driven roller does (rad)."""
        return self.nothing

    def of_reversal(self, part: MarkedPart) -> Amounts:
        """What the part lags when the axis turns on and back by the same (m)."""
        return self.nothing

    def corrected(self, setup: Setup, off: Off) -> Correction | None:
        """What to write in a file where it is this, and by so much; None where no number of a file is wrong."""
        return None


def _last(part: MarkedPart, seam: int) -> bool:
    return part.closing and seam == part.pitches.size - 1


def _halves(part: MarkedPart, seam: int) -> tuple[float, float]:
    """Half of the angle (rad) of the segment before the seam and of the one behind it."""
    after = 0 if _last(part, seam) else seam + 1
    return float(part.arcs[seam]) / part.diameter, float(part.arcs[after]) / part.diameter


def _narrower(part: MarkedPart, seam: int) -> float:
    """How much narrower the two halves beside a seam burn (m) for each unit that the surface is too far out."""
    return part.diameter / 2 * sum(math.tan(half) - half for half in _halves(part, seam))


class PartDiameterWrong(Cause):
    """The true diameter is (1 + x) times the one entered.

    In a chuck the part turns by the right angle and its surface goes (1 + x) times as far: x*P at every seam, the
    closing one too. On rollers the surface goes as far as planned, and only the closing seam opens, by x*pi*D. The
    strips themselves burn a little narrower on a thicker part.
    """

    key, name = "part-diameter", "the part's diameter is not the one entered"
    usual, unusual, often = 0.01, 0.3, 4.0

    def at_seam(self, part: MarkedPart, seam: int, place: int) -> Amounts:
        narrower = _narrower(part, seam)
        if not part.rolls:
            return (float(part.pitches[seam]) + narrower,)
        return (math.pi * part.diameter + narrower if _last(part, seam) else narrower,)

    def of_part_diameter(self, part: MarkedPart) -> Amounts:
        return (part.diameter,)

    def of_marked_width(self, part: MarkedPart) -> Amounts:
        half = float(part.arcs.max()) / part.diameter
        return (-part.diameter * (math.tan(half) - half),)

    def of_part_line(self, part: MarkedPart, turns: float) -> Amounts:
        return (-turns * math.pi * part.diameter,) if part.rolls else (0.0,)

    def corrected(self, setup: Setup, off: Off) -> Correction:
        return other_size("job", "part.diameter", setup.job.part.diameter.si, off)


class _TravelWrong(Cause):
    """The surface goes (1 + sign*x) times as far as planned: sign*x*P, and -sign*x*T at the closing seam."""

    sign: ClassVar[float] = 1.0

    def at_seam(self, part: MarkedPart, seam: int, place: int) -> Amounts:
        return (self.sign * (-part.turned if _last(part, seam) else float(part.pitches[seam])),)

    def of_part_line(self, part: MarkedPart, turns: float) -> Amounts:
        return (self.sign * turns * math.pi * part.diameter,)


class RollerDiameterWrong(_TravelWrong):
    """The driven roller is (1 + x) times as thick as entered."""

    key, name = "roller-diameter", "the roller's diameter is not the one entered"
    usual, unusual, often = 0.01, 0.2, 3.0

    def applies(self, part: MarkedPart) -> bool:
        return part.rolls

    def of_roller_diameter(self, part: MarkedPart) -> Amounts:
        return (part.roller_diameter,)

    def corrected(self, setup: Setup, off: Off) -> Correction | None:
        cradle = setup.machine.drive.cradle
        if cradle is None:
            return None
        return other_size("machine", "drive.roller_diameter", cradle.roller_diameter, off)


class RatioWrong(_TravelWrong):
    """The shaft turns (1 + x) times as far as commanded: teeth, microsteps or full steps are not those in the file."""

    key, name = "ratio", "the steps per turn are not those entered"
    usual, unusual, often = 0.02, 0.7, 1.0

    def of_shaft_line(self, part: MarkedPart, turns: float) -> Amounts:
        return (2 * math.pi * turns,)

    def corrected(self, setup: Setup, off: Off) -> Correction:
        machine = setup.machine
        per_turn = float(machine.motor_turns_per_part_turn(setup.job.part.contact))
        steps = per_turn * machine.motor.full_steps * machine.driver.microsteps
        true = steps / (1 + off.amount) if off.amount > -1 else math.inf
        close = sensible_ratios(machine, off.amount, off.within)
        return Correction(
            file="machine",
            key="gearing, driver.microsteps or motor.full_steps",
            entered=steps,
            true=true,
            within=true * off.within,
            unit="steps per turn of the part",
            likely=tuple(f"perhaps {each.words}" for each in close) or (NO_WHEEL,),
        )


class Slip(_TravelWrong):
    """The part falls behind what turns it by the part x of the travel, always to the same side."""

    key, name = "slip", "the part slips on its rollers, or in its jaws"
    usual, unusual, often = 0.005, 0.05, 1.5
    sign, one_sided = -1.0, True

    def corrected(self, setup: Setup, off: Off) -> Correction | None:
        cradle = setup.machine.drive.cradle
        if cradle is None:
            return None
        slip = 1 - (1 - cradle.slip) * (1 - off.amount)
        return Correction("machine", "drive.slip", cradle.slip, slip, off.within, "")


class MarkedTooWide(Cause):
    """The marking side draws everything (1 + x) times as wide as planned: an overlap at every seam."""

    key, name = "marked-width", "the marking side draws too wide or too narrow"
    usual, unusual, often = 0.01, 0.1, 1.5

    def at_seam(self, part: MarkedPart, seam: int, place: int) -> Amounts:
        return (-part.diameter / 2 * sum(map(math.tan, _halves(part, seam))),)

    def of_marked_width(self, part: MarkedPart) -> Amounts:
        return (part.diameter * math.tan(float(part.arcs.max()) / part.diameter),)


class LostMotion(Cause):
    """The first move begins by taking up x (m at the surface): the first seam overlaps by it, the closing one gapes."""

    key, name = "lost-motion", "lost motion is not taken up at the first segment"
    usual, unusual, often = 0.2e-3, 1e-3, 1.5
    one_sided = True

    def at_seam(self, part: MarkedPart, seam: int, place: int) -> Amounts:
        return (1.0 if _last(part, seam) else -1.0 if seam == 0 else 0.0,)

    def of_reversal(self, part: MarkedPart) -> Amounts:
        return (1.0,)


class RunOut(Cause):
    """The part's middle stands off the axis by (x, y) m: gaps on one side of the part, overlaps on the other.

    A point of the surface at angle t comes up at t + (e/r) sin(t - phi), to first order in e/r.
    """

    key, name = "run-out", "the part runs out: it turns about another middle"
    usual, unusual, often = 0.2e-3, 1e-3, 1.0
    count = 2

    def applies(self, part: MarkedPart) -> bool:
        return not part.rolls and part.pitches.size >= 3

    def at_seam(self, part: MarkedPart, seam: int, place: int) -> Amounts:
        here = part.angles[seam]
        there = part.angles[0] if _last(part, seam) else part.angles[seam + 1]
        return (math.sin(there) - math.sin(here), math.cos(here) - math.cos(there))


class Cone(Cause):
    """The right end of the mark is (1 + x) times as thick as its middle, the left (1 - x): x*P and -x*P there."""

    key, name = "cone", "the part is a cone, and the job says it is not"
    usual, unusual, often = 0.01, 0.05, 1.0

    def at_seam(self, part: MarkedPart, seam: int, place: int) -> Amounts:
        return (place * (float(part.pitches[seam]) + _narrower(part, seam)),)


class Skewed(Cause):
    """The marks stand askew to the axis by x (rad): at each seam the line steps sideways by x*P, with no gap."""

    key, name = "skew", "the marking field stands askew to the axis"
    usual, unusual, often = 0.005, 0.05, 1.0

    def step(self, part: MarkedPart) -> Amounts:
        return (float(part.pitches[0]),)


CAUSES: tuple[Cause, ...] = (
    PartDiameterWrong(),
    RollerDiameterWrong(),
    RatioWrong(),
    Slip(),
    MarkedTooWide(),
    LostMotion(),
    RunOut(),
    Cone(),
    Skewed(),
)
"""All that is looked at."""
