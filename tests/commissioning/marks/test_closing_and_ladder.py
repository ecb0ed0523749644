"""The strips of a full wrap and of the marking window: geometry by another library, and what a person reads on them."""

from __future__ import annotations

import math
import random
from pathlib import Path

import numpy as np
import pytest

from firmware_host.commissioning.marks.comb import LINES, combs, gap_between, gap_by, read_to
from firmware_host.commissioning.marks.ladder import focus_depth, rungs, usual_step
from firmware_host.commissioning.marks.strips import (
    closing_strips,
    ladder_strips,
    seam_strips,
    write_strips,
)
from firmware_host.errors import FormulaRangeError, InputError
from firmware_host.model import load_job
from firmware_host.planning.plan import plan_layout
from tests.commissioning.marks.parsed import places, segments, upright

WRAP = load_job("heavy-shaft")  # 16 segments around a shaft of 95 mm; the marking side corrects for the round surface
LAYOUT = plan_layout(WRAP)
FLAT = WRAP.with_values({"window.flat_field_corrected": False})
PITCH, RADIUS, SPACING = math.pi * 95 / 16, 47.5, 0.5
UM = 1e-3


def test_the_closing_strips_are_for_the_first_segment_the_second_and_the_last() -> None:
    strips = closing_strips(WRAP, LAYOUT, SPACING / 1e3)
    assert [strip.where for strip in strips.strips] == ["segment 1", "segment 2", "segment 16"]
    assert [len(upright(strip.text)) for strip in strips.strips] == [42, 21, 21]


def test_each_line_of_the_closing_strips_stands_where_it_should_to_a_micrometre() -> None:
    first, second, last = (places(strip.text) for strip in closing_strips(WRAP, LAYOUT, SPACING / 1e3).strips)
    numbers = np.arange(-LINES, LINES + 1)
    start, end = -PITCH / 2 + numbers * 0.9 * SPACING, PITCH / 2 + numbers * SPACING
    assert np.abs(np.array(first) - np.concatenate((start, end))).max() <= UM
    assert np.abs(np.array(second) - start).max() <= UM
    assert np.abs(np.array(last) - end).max() <= UM


def test_a_marking_side_that_corrects_for_nothing_gets_lines_that_come_out_right() -> None:
    """Back from the flat drawing to the surface, by the circle: r asin(x/r)."""
    drawn = closing_strips(FLAT, plan_layout(FLAT), SPACING / 1e3).strips[1]
    right = closing_strips(WRAP, LAYOUT, SPACING / 1e3).strips[1]
    back = [RADIUS * math.asin(x / RADIUS) for x in places(drawn.text)]
    assert back == pytest.approx(places(right.text), abs=2 * UM)


@pytest.mark.parametrize("spacing", [0.5, 0.2], ids=str)
def test_each_fifth_line_has_its_number_behind_it_which_touches_neither_line_nor_number(spacing: float) -> None:
    strip = closing_strips(WRAP, LAYOUT, spacing / 1e3).strips[1]
    lines = upright(strip.text)
    signs = [each for each in segments(strip.text) if each not in lines]
    deepest = min(y for line in lines for _, y in line)
    assert all(-7.5 <= y < deepest for sign in signs for _, y in sign)
    fifths = [line[0][0] for line in lines[::5]]
    nearest = [min((abs(x - fifth), fifth) for fifth in fifths) for sign in signs for x, _ in sign]
    assert {fifth for _, fifth in nearest} == set(fifths)
    assert max(off for off, _ in nearest) < 0.5 * 4.5 * spacing + UM


def test_the_strip_says_how_it_is_read_in_words_that_are_not_marked() -> None:
    strips = closing_strips(WRAP, LAYOUT, SPACING / 1e3)
    assert "5/4 says that its +5 meets +4 of segment 1" in strips.strips[0].text
    assert "<text" not in strips.strips[0].text


@pytest.mark.parametrize("cases", [pytest.param(40, id="40"), pytest.param(500, id="500", marks=pytest.mark.slow)])
def test_the_two_lines_that_meet_tell_a_gap_of_several_spacings(cases: int) -> None:
    """A person takes the pair nearest to meeting; a gap of up to nine spacings is told to half a tenth of one."""
    rng = random.Random(1)
    at_end, at_start = combs(18e-3, 18e-3, 0.5e-3)
    for _ in range(cases):
        gap = rng.uniform(-4.5e-3, 4.5e-3)
        ends = [(place - 9e-3, number) for place, number in zip(at_end.places, at_end.numbers, strict=True)]
        starts = [(place + 9e-3 + gap, number) for place, number in zip(at_start.places, at_start.numbers, strict=True)]
        pairs = [(abs(a - b) + abs(rng.gauss(0, 1e-6)), i, j) for a, i in ends for b, j in starts]
        _, first, second = min(pairs)
        assert abs(gap_between(first, second, 0.5e-3) - gap) <= read_to(0.5e-3) + 3e-6


def test_lines_of_one_number_tell_what_the_other_strips_tell() -> None:
    assert [gap_between(each, each, 0.5e-3) for each in (-10, -3, 0, 7)] == pytest.approx(
        [gap_by(each, 0.5e-3) for each in (-10, -3, 0, 7)]
    )
    with pytest.raises(FormulaRangeError, match="number of the lines that meet"):
        gap_between(11, 0, 0.5e-3)


def test_a_mark_that_does_not_go_round_has_no_closing_strips() -> None:
    part = load_job("shaft-scale")
    with pytest.raises(InputError, match="does not go all the way round"):
        closing_strips(part, plan_layout(part), 0.2e-3)


@pytest.mark.parametrize("flat", [True, False], ids=["flat", "corrected"])
def test_each_rung_lies_as_deep_as_its_number_says_to_a_micrometre(flat: bool) -> None:
    setup = FLAT if flat else WRAP
    strips = ladder_strips(setup, plan_layout(setup), 0.1e-3)
    assert strips.flat is flat
    right = sorted(x for x in places(strips.strips[0].text) if x >= 0)
    angles = [math.asin(x / RADIUS) if flat else x / RADIUS for x in right]
    assert [RADIUS * (1 - math.cos(each)) for each in angles] == pytest.approx([0.1 * k for k in range(25)], abs=UM)
    left = sorted(-x for x in places(strips.strips[0].text) if x < 0)
    assert left == pytest.approx(right[1:], abs=1e-4)


def test_the_usual_ladder_has_five_rungs_in_the_half_depth_that_is_stated() -> None:
    strips = ladder_strips(WRAP, LAYOUT)
    assert strips.spacing == pytest.approx(0.1e-3)
    assert focus_depth(strips.spacing) == pytest.approx(1e-3)
    assert "Set the focus 1 mm below the crown" in " ".join(strips.how)


def test_a_thin_part_has_fewer_and_finer_rungs() -> None:
    made = rungs(5e-3, 0.1e-3)
    assert made[-1].number == 17
    assert math.degrees(made[-1].angle) < 50
    thin = WRAP.with_values({"part.diameter": "6 mm"})
    assert usual_step(thin.job.window, 3e-3) < 0.06e-3


@pytest.mark.parametrize("step", [0.0, -1e-4, 0.2e-3], ids=["none", "upwards", "too coarse for the part"])
def test_a_step_that_makes_no_ladder_is_refused(step: float) -> None:
    with pytest.raises(FormulaRangeError, match="step of the rungs"):
        rungs(5e-3, step)


def test_a_strip_is_as_wide_as_the_mark(tmp_path: Path) -> None:
    for strips in (closing_strips(WRAP, LAYOUT, 0.5e-3), ladder_strips(WRAP, LAYOUT), seam_strips(WRAP, LAYOUT, 5e-4)):
        for path in write_strips(strips, tmp_path):
            heights = [y for stroke in segments(path.read_text("utf-8")) for _, y in stroke]
            assert max(map(abs, heights)) <= 7.5
            assert 'height="15.0000mm"' in path.read_text("utf-8")
