"""Which measurement tells two causes apart that the readings so far can't."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from firmware_host.commissioning.seam.evidence import Explanation
from firmware_host.commissioning.seam.marked import MarkedPart
from firmware_host.commissioning.seam.readings import (
    MarkedWidth,
    PartDiameter,
    PartLine,
    Reading,
    Reversal,
    RollerDiameter,
    SeamReading,
    ShaftLine,
    StepReading,
)

TOLD_APART = 4.0
"""Two causes count as told apart where the readings differ by so many standard deviations between them."""
_SURELY = 8.0
"""What is measured next should tell them apart by so many: the size of what is wrong is not yet known well."""
_CALLIPER = 0.05e-3
_RULE = 0.2e-3
_TURNS = 20
_PROTRACTOR = math.radians(1)


@dataclass(frozen=True)
class Measurement:
    """Something to measure: `key`, what to do in one sentence, and the readings it gives."""

    key: str
    what: str
    readings: tuple[Reading, ...]


def measurements(part: MarkedPart, taken: Sequence[Reading]) -> tuple[Measurement, ...]:
    """All that can still be measured, the easiest first; what was taken already is left out."""
    kinds = {type(reading) for reading in taken}
    seams = {(reading.seam, reading.place) for reading in taken if isinstance(reading, SeamReading)}
    count = part.pitches.size
    closing = (SeamReading(_CALLIPER, 0.0, count),) if part.closing and (count, 0) not in seams else ()
    inner = tuple(SeamReading(_CALLIPER, 0.0, each) for each in _some(part) if (each, 0) not in seams)
    ends = tuple(SeamReading(_CALLIPER, 0.0, 1, place) for place in (-1, 1) if (1, place) not in seams)
    offered = (
        Measurement("closing-seam", "Measure the closing seam.", closing),
        Measurement("seams", "Measure the other seams, one by one.", inner),
        Measurement("part-diameter", "Measure the part with a calliper where it is marked.",
                    (PartDiameter(_CALLIPER, part.diameter),)),
        Measurement("roller-diameter", "Measure the driven roller with a calliper.",
                    (RollerDiameter(_CALLIPER, part.roller_diameter),) if part.rolls else ()),
        Measurement("marked-width", "Measure how wide one segment came out around the part.",
                    (MarkedWidth(_CALLIPER * 2, float(part.arcs.max())),)),
        Measurement("ends", "Measure a seam at both ends of the mark.",
                    ends if part.half_band > 0 else ()),
        Measurement("lines", f"Scribe a line on the part and one on {_shaft(part)}, turn {_TURNS} turns from one side, "
                    "and see how far off each is.",
                    (PartLine(_RULE, 0.0, _TURNS), ShaftLine(_PROTRACTOR, 0.0, _TURNS))),
        Measurement("reversal", "Turn the part on and back by the same, and see how far it lags.",
                    (Reversal(_CALLIPER, 0.0),)),
        Measurement("step", "Measure how far a line around the part steps sideways at a seam.",
                    (StepReading(_CALLIPER, 0.0),)),
    )  # fmt: skip
    lines = {"part-diameter": PartDiameter, "roller-diameter": RollerDiameter, "marked-width": MarkedWidth,
             "lines": ShaftLine, "reversal": Reversal, "step": StepReading}  # fmt: skip
    return tuple(each for each in offered if each.readings and lines.get(each.key) not in kinds)


def telling_apart(rivals: Sequence[Explanation], part: MarkedPart, taken: Sequence[Reading]) -> tuple[Measurement, ...]:
    """The fewest measurements (one, else two; none if nothing helps) that tell most pairs of `rivals` apart."""
    if len(rivals) < 2:
        return ()
    offered = measurements(part, taken)
    pairs = list(itertools.combinations(rivals, 2))
    worth = {each.key: [_between(one, other, each, part) for one, other in pairs] for each in offered}

    def told(chosen: tuple[Measurement, ...]) -> float:
        """How many pairs are told apart, each in part where it is not surely."""
        between = (math.hypot(*(worth[each.key][pair] for each in chosen)) for pair in range(len(pairs)))
        return sum(min(each / _SURELY, 1.0) for each in between)

    best: tuple[Measurement, ...] = max(((each,) for each in offered), key=told, default=())
    if not best or told(best) < len(pairs) - 1e-9:
        best = max((best, *itertools.combinations(offered, 2)), key=told)
    return best if best and told(best) >= TOLD_APART / _SURELY else ()


def _between(one: Explanation, other: Explanation, measurement: Measurement, part: MarkedPart) -> float:
    """How far apart two explanations foresee the readings of a measurement, in standard deviations."""
    return math.hypot(
        *((_foreseen(one, each, part) - _foreseen(other, each, part)) / each.deviation for each in measurement.readings)
    )


def _foreseen(found: Explanation, reading: Reading, part: MarkedPart) -> float:
    if found.cause is None:
        return 0.0
    return sum(a * b for a, b in zip(reading.effect(found.cause, part), found.amounts, strict=True))


def _some(part: MarkedPart) -> Sequence[int]:
    """At most a dozen of the seams inside the mark, from 1."""
    step = max(1, math.ceil(part.inner / 12))
    return range(1, part.inner + 1, step)


def _shaft(part: MarkedPart) -> str:
    return "the driven roller" if part.rolls else "the chuck"
