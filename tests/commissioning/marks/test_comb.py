"""A vernier across a seam: the lines that meet on the part tell the gap that it was marked with."""

from __future__ import annotations

import math
import random
from xml.etree import ElementTree

import pytest

from firmware_host.commissioning.marks.comb import LINES, as_drawn, combs, gap_by, read_to
from firmware_host.commissioning.marks.svg import comb_svg
from firmware_host.errors import FormulaRangeError

ARC, SPACING, RADIUS = 12e-3, 0.5e-3, 20e-3


def meeting(gap: float, rng: random.Random) -> int:
    """The number of the lines that a person takes for meeting: of the nearest two, with the eye's own error."""
    first, second = combs(ARC, ARC, SPACING)
    apart = [
        abs((place - ARC / 2) - (other + ARC / 2 + gap)) + abs(rng.gauss(0, 1e-6))
        for place, other in zip(first.places, second.places, strict=True)
    ]
    return first.numbers[apart.index(min(apart))]


def test_the_lines_that_meet_tell_the_gap_to_half_a_tenth_of_the_spacing() -> None:
    rng = random.Random(1)
    for _ in range(500):
        gap = rng.uniform(-0.5e-3, 0.5e-3)
        assert abs(gap_by(meeting(gap, rng), SPACING) - gap) <= read_to(SPACING) + 3e-6


@pytest.mark.parametrize(("gap", "number"), [(0.0, 0), (0.2e-3, 4), (-0.35e-3, -7)])
def test_a_gap_is_a_positive_number_and_an_overlap_a_negative_one(gap: float, number: int) -> None:
    assert meeting(gap, random.Random(1)) == number
    assert gap_by(number, SPACING) == pytest.approx(gap)


def test_a_line_drawn_flat_comes_out_where_it_should() -> None:
    """Straight down from above, x = r sin(s/r): back on the circle the arc is what was asked for."""
    for place in (-12e-3, -1e-3, 0.0, 5e-3):
        assert RADIUS * math.asin(as_drawn(place, RADIUS) / RADIUS) == pytest.approx(place, abs=1e-15)


@pytest.mark.parametrize("lower", [True, False], ids=["first", "second"])
@pytest.mark.parametrize("flat", [True, False], ids=["flat", "corrected"])
def test_the_strip_has_every_line_where_it_belongs_in_its_half_of_the_band(lower: bool, flat: bool) -> None:
    comb = next(each for each in combs(ARC, ARC, SPACING) if each.lower == lower)
    root = ElementTree.fromstring(comb_svg((comb,), radius=RADIUS, band=10e-3, flat=flat))
    lines = root.findall(".//{http://www.w3.org/2000/svg}line")
    assert len(lines) == 2 * LINES + 1
    places = [float(line.attrib["x1"]) for line in lines]
    wanted = [(as_drawn(place, RADIUS) if flat else place) * 1e3 for place in comb.places]
    assert places == pytest.approx(wanted, abs=1e-4)
    ends = [(float(line.attrib["y1"]), float(line.attrib["y2"])) for line in lines]
    assert all((begin > 0) == lower and abs(end) > abs(begin) and abs(end) <= 5.0 for begin, end in ends)
    assert root.attrib["height"] == "10.0000mm"
    longest = max(range(len(ends)), key=lambda each: abs(ends[each][1]))
    assert comb.numbers[longest] == 0


@pytest.mark.parametrize("spacing", [0.0, 1e-3, -0.5e-3])
def test_a_spacing_that_does_not_fit_the_segment_is_refused(spacing: float) -> None:
    with pytest.raises(FormulaRangeError, match="spacing of the lines"):
        combs(ARC, ARC, spacing)


def test_a_number_beyond_the_lines_is_no_reading() -> None:
    with pytest.raises(FormulaRangeError, match="number of the lines that meet"):
        gap_by(11, SPACING)


def test_a_line_around_the_corner_can_not_be_drawn() -> None:
    with pytest.raises(FormulaRangeError, match="place of a line"):
        as_drawn(RADIUS * 1.6, RADIUS)
