"""One thing wrong that the seams do not show: it is found by what the mark looks like, which follows from geometry."""

from __future__ import annotations

import math
import random
from collections import Counter
from dataclasses import replace
from typing import NamedTuple

import pytest

from firmware_host.commissioning.seam.diagnosis import diagnose
from firmware_host.commissioning.seam.marked import MarkedPart, marked_part
from firmware_host.commissioning.seam.readings import Reading, StepReading
from firmware_host.commissioning.seam.symptoms import WORDS_ONLY, Symptom
from firmware_host.model import Setup
from tests.commissioning.seam.cases import READ_TO, Case, parts
from tests.commissioning.seam.looked_at import Optics, looks
from tests.commissioning.seam.true_part import Fault, mark

KINDS = ("segment-too-wide", "focus-height", "window-off-centre", "axis-not-level", "cone", "skew", "choppy")


class Looked(NamedTuple):
    """Which cause is the true one, and what a person sees and measures of it."""

    key: str
    setup: Setup
    part: MarkedPart
    case: Case
    symptoms: tuple[Symptom, ...]
    askew: float


def draw(rng: random.Random) -> Looked:
    """One thing wrong, by so much that it shows; drawn anew where nothing is seen of it, or of a slope no end."""
    while True:
        kind = rng.choice(KINDS)
        setup, layout = rng.choice(parts())
        part = marked_part(setup, layout)
        radius, half = part.diameter / 2, float(part.arcs.max()) / part.diameter
        sag, band = radius * (1 - math.cos(half)), part.half_band
        right = Optics(half_depth=sag * rng.uniform(1.05, 1.4))
        slack = right.half_depth - sag
        size = rng.choice((-1, 1)) * rng.uniform(0.3, 0.9)
        share = size * 1.5 * right.half_depth / radius
        optics, fault, key, askew, seen = right, Fault(), kind, 0.0, ()
        if kind == "segment-too-wide":
            optics = Optics(half_depth=sag * rng.uniform(0.4, 0.95))
        elif kind == "focus-height":
            optics = replace(right, focus=-slack - rng.uniform(0.05, 0.5) * sag)
        elif kind == "window-off-centre":
            optics = replace(right, beside=size * radius * half)
        elif kind == "axis-not-level":
            tilt = size * 1.5 * right.half_depth / band  # the focus was set at the left end
            optics = replace(right, tilt=tilt, focus=-tilt * band)
        elif kind == "cone":
            optics, fault = replace(right, thicker=share, focus=share * radius), Fault(cone=share)
        elif kind == "skew":
            askew, seen = size * 0.05, (Symptom.SKEWED_LINE,)
        else:
            key, seen = rng.choice(("too-many-segments", "not-settled")), (Symptom.CHOPPY,)
        seen = (*seen, *looks(optics, radius, half, band))
        ends = kind in ("axis-not-level", "cone")
        if seen and (not ends or Symptom.FADED_AT_ONE_END in seen):
            case = Case(key, fault, setup, part, mark(setup, layout, fault))
            return Looked(key, setup, part, case, seen, askew)


def shares(seed: int, cases: int, *, measured: bool) -> tuple[Counter[str], Counter[str]]:
    """How often there was each, and how often it was among those named, or first where it was alone."""
    rng, number, found = random.Random(seed), Counter[str](), Counter[str]()
    words = {each.key: each.shown_by for each in WORDS_ONLY}
    for _ in range(cases):
        one = draw(rng)
        readings: list[Reading] = one.case.seams(rng) if measured else []
        told = diagnose(one.setup, one.part, readings, one.symptoms)
        number[one.key] += 1
        found[one.key] += one.key in told.alike
        assert told.proved
        if one.key in words and len(told.alike) > 1:
            assert words[one.key] in [each.key for each in told.next_readings], (one, told.alike)
        if one.key == "skew" and measured:
            off = one.askew * float(one.part.pitches[0]) + rng.uniform(-READ_TO, READ_TO)
            sure = diagnose(one.setup, one.part, [*readings, StepReading(READ_TO, off)])
            found["skew, its step measured"] += sure.alike == ("skew",)
            number["skew, its step measured"] += 1
    return number, found


@pytest.mark.parametrize("measured", [False, True], ids=["only seen", "its seams measured, too"])
@pytest.mark.parametrize(
    ("seed", "cases"), [pytest.param(1, 60, id="60"), pytest.param(2, 500, id="500", marks=pytest.mark.slow)]
)
def test_what_the_seams_do_not_show_is_among_what_the_look_speaks_for(seed: int, cases: int, measured: bool) -> None:
    number, found = shares(seed, cases, measured=measured)
    kinds = {*KINDS, "too-many-segments", "not-settled"} - {"choppy"}
    assert kinds <= set(number)
    assert all(found[key] >= 0.9 * number[key] - 1 for key in number), (number, found)
    assert sum(found[key] for key in kinds) >= 0.98 * cases, (number, found)


def test_measured_seams_that_meet_do_not_make_one_of_two_looks_the_only_one() -> None:
    setup, layout = parts()[0]
    part = marked_part(setup, layout)
    case = Case("", Fault(), setup, part, mark(setup, layout, Fault()))
    told = diagnose(setup, part, case.seams(random.Random(1)), (Symptom.CHOPPY,))
    assert {"too-many-segments", "not-settled"} <= set(told.alike)
    assert [each.key for each in told.next_readings] == ["waiting"]
