"""Machines with one thing wrong, drawn at random, and what a person reads from the parts that they mark."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace
from functools import cache

from firmware_host.commissioning.seam.marked import MarkedPart, marked_part
from firmware_host.commissioning.seam.next_reading import Measurement
from firmware_host.commissioning.seam.readings import (
    MarkedWidth,
    PartDiameter,
    PartLine,
    Reading,
    Reversal,
    RollerDiameter,
    SeamReading,
    ShaftLine,
)
from firmware_host.model import Setup
from firmware_host.model.files.loading import load_job
from firmware_host.planning.plan import Layout, plan_layout
from tests.commissioning.seam.true_part import Fault, TruePart, mark

READ_TO = 0.05e-3
_COMMON = {
    "window.flat_field_corrected": True,
    "window.telecentric": True,
    "segments.diameter_uncertainty": None,
    "mark.width": "40 mm",
}


@dataclass(frozen=True)
class Case:
    """One part as it was marked, and which cause is the true one."""

    key: str
    fault: Fault
    setup: Setup
    part: MarkedPart
    true: TruePart

    def seam(self, rng: random.Random, seam: int, place: int = 0) -> SeamReading:
        return SeamReading(READ_TO, self.true.gap(seam, place) + rng.uniform(-READ_TO, READ_TO), seam, place)

    def seams(self, rng: random.Random) -> list[Reading]:
        """Every seam in its middle, and the first at both ends too."""
        ends = [self.seam(rng, 1, -1), self.seam(rng, 1, 1)]
        return [*(self.seam(rng, each) for each in range(1, self.true.seams + 1)), *ends]

    def measured(self, rng: random.Random, measurement: Measurement) -> list[Reading]:
        """The readings that a person takes when told to measure `measurement`, each off by what it is good for."""
        return [self._measured(rng, reading) for reading in measurement.readings]

    def _measured(self, rng: random.Random, reading: Reading) -> Reading:
        off = rng.uniform(-reading.within, reading.within)
        fault, part = self.fault, self.part
        if isinstance(reading, SeamReading):
            return replace(reading, gap=self.true.gap(reading.seam, reading.place) + off)
        if isinstance(reading, PartDiameter):
            return replace(reading, diameter=2 * self.true.radius + off)
        if isinstance(reading, RollerDiameter):
            return replace(reading, diameter=part.roller_diameter * (1 + fault.roller) + off)
        if isinstance(reading, MarkedWidth):
            return replace(reading, width=float(part.arcs.max()) * (1 + fault.drawn) + off)
        if isinstance(reading, ShaftLine):
            return replace(reading, off=2 * math.pi * reading.turns * fault.ratio + off)
        if isinstance(reading, Reversal):
            return replace(reading, lag=fault.lost_motion + off)
        if isinstance(reading, PartLine):
            commanded = reading.turns * math.pi * part.diameter
            went = commanded * (1 + fault.ratio) * (1 + fault.roller) * (1 - fault.slip)
            whole = reading.turns * 2 * math.pi * self.true.radius if part.rolls else commanded
            return replace(reading, off=went - whole + off)
        raise NotImplementedError(type(reading).__name__)


def draw_case(rng: random.Random) -> Case:
    """One thing wrong by 0.15 to 1 mm at a seam, on one of eight parts in a chuck or on rollers."""
    setup, layout = rng.choice(parts())
    part = marked_part(setup, layout)
    kinds = ["part-diameter", "ratio", "slip", "marked-width", "lost-motion", "cone"]
    kinds += ["roller-diameter"] if part.rolls else ["run-out"]
    if part.rolls and not part.closing:
        kinds.remove("part-diameter")  # it does nothing to the seams there
    key = rng.choice(kinds)
    fault = _fault(key, rng, float(part.pitches[0]))
    return Case(key, fault, setup, part, mark(setup, layout, fault))


def _fault(key: str, rng: random.Random, pitch: float) -> Fault:
    size = rng.uniform(0.15e-3, 1e-3)
    either = rng.choice((-1, 1)) * size
    relative = {"part-diameter": "part", "ratio": "ratio", "marked-width": "drawn", "cone": "cone",
                "roller-diameter": "roller"}  # fmt: skip
    if key in relative:
        return replace(Fault(), **{relative[key]: either / pitch})
    if key == "slip":
        return Fault(slip=size / pitch)
    if key == "lost-motion":
        return Fault(lost_motion=size)
    return Fault(run_out=size + 0.2e-3, run_out_at=rng.uniform(0, 2 * math.pi))


@cache
def parts() -> tuple[tuple[Setup, Layout], ...]:
    """Wraps and bands of 40 and 60 mm parts, in a chuck and on rollers."""
    setups = [
        make(wrap, diameter, count)
        for wrap in (True, False)
        for diameter, count in ((40, 8), (60, 12))
        for make in (in_a_chuck, on_rollers)
    ]
    return tuple((setup, plan_layout(setup)) for setup in setups)


def in_a_chuck(wrap: bool, diameter: int, count: int) -> Setup:
    values = _COMMON | _extent(wrap, diameter) | {"window.half_depth": "3 mm", "window.focus": "balanced"}
    own = {"part.diameter": f"{diameter} mm", "part.mass": None, "segments.count": count}
    return load_job("shaft-scale").with_values(values | own)


def on_rollers(wrap: bool, diameter: int, count: int) -> Setup:
    values = _COMMON | _extent(wrap, diameter) | {"window.half_depth": "5 mm", "mark.levelled": None}
    part = {"kind": "solid", "diameter": f"{diameter} mm", "length": "100 mm", "density": "7860 kg/m^3"}
    return load_job("tumbler-wrap").with_values(values | {"part": part, "segments.count": count})


def _extent(wrap: bool, diameter: int) -> dict[str, str | None]:
    if wrap:
        return {"mark.angle": "360 deg", "mark.arc": None}
    return {"mark.arc": f"{diameter * math.pi * 0.6:.3f} mm", "mark.angle": None}
