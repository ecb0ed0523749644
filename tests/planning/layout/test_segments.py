"""Where segments fall: counts, angles, full wraps, keep-out arcs, and why that many."""

import math
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_host.errors import PlanError, WindowError
from firmware_host.planning.layout.choice import explain_choice
from firmware_host.planning.layout.segments import SegmentPlan, plan_segments
from firmware_host.units import PI
from tests.planning.workshop import job, job_on


def edges_deg(plan: SegmentPlan) -> tuple[np.ndarray, np.ndarray]:
    centres, widths = plan.centres_deg(), plan.widths_deg()
    return centres - widths / 2, centres + widths / 2


@settings(deadline=None)
@given(
    diameter_um=st.integers(5_000, 400_000),
    part_of_turn=st.floats(0.01, 0.99),
    depth_part=st.floats(0.002, 0.4),
    focus=st.sampled_from(["crown", "balanced"]),
)
def test_the_fewest_equal_segments_fit_and_one_fewer_would_not(
    diameter_um: int, part_of_turn: float, depth_part: float, focus: str
) -> None:
    radius = diameter_um / 2e6
    arc_um = int(2 * math.pi * radius * part_of_turn * 1e6)
    depth_nm = int(radius * depth_part * 1e9)
    plan = plan_segments(
        job_on(f"{diameter_um} um", {"arc": f"{arc_um} um"}, window={"half_depth": f"{depth_nm} nm", "focus": focus})
    )
    allowed = depth_nm * 1e-9 * (1 if focus == "crown" else 2)

    def sag(count: int) -> float:
        return radius * (1 - math.cos(arc_um * 1e-6 / count / 2 / radius))

    assert sag(plan.count) <= allowed * (1 + 1e-6)
    assert plan.count == 1 or sag(plan.count - 1) > allowed * (1 - 1e-6)
    low, high = edges_deg(plan)
    assert low[1:] == pytest.approx(high[:-1])
    assert high[-1] - low[0] == pytest.approx(math.degrees(arc_um * 1e-6 / radius))
    assert plan.centres_deg()[0] == 0.0


def test_the_first_segment_faces_the_lens_at_the_start_angle() -> None:
    plan = plan_segments(job(mark={"start_angle": "-20 deg"}, segments={"count": 6}))
    assert plan.centres_deg()[0] == pytest.approx(-20)
    # 60 mm on 50 mm: 137.5099 deg in 6 = 22.9183 deg each.
    assert np.diff(plan.centres_deg()) == pytest.approx([22.918311805] * 5)
    assert float(plan.start * 360) == pytest.approx(-20 - 22.918311805 / 2)


def test_an_angle_asked_for_leaves_a_narrower_last_segment_without_hole_or_overlap() -> None:
    plan = plan_segments(job_on("50 mm", {"angle": "100 deg"}, segments={"angle": "15 deg"}))
    assert plan.widths_deg().tolist() == pytest.approx([15] * 6 + [10])
    low, high = edges_deg(plan)
    assert low[1:] == pytest.approx(high[:-1])
    assert low[0] == pytest.approx(-7.5)
    assert high[-1] == pytest.approx(92.5)


def test_an_angle_that_divides_the_mark_leaves_no_sliver() -> None:
    plan = plan_segments(job_on("50 mm", {"angle": "90 deg"}, segments={"angle": "15 deg"}))
    assert plan.widths_deg().tolist() == pytest.approx([15] * 6)


def test_an_angle_wider_than_the_mark_makes_one_segment_of_the_mark() -> None:
    plan = plan_segments(job_on("50 mm", {"angle": "10 deg", "start_angle": "-20 deg"}, segments={"angle": "15 deg"}))
    assert plan.widths_deg().tolist() == pytest.approx([10])
    low, high = edges_deg(plan)
    assert (low.tolist(), high.tolist()) == (pytest.approx([-25]), pytest.approx([-15]))


@pytest.mark.parametrize("segments", [{"count": 4}, {"angle": "30 deg"}], ids=["count-too-small", "angle-too-wide"])
def test_a_request_that_leaves_the_window_is_refused_with_the_count_that_fits(segments: dict[str, Any]) -> None:
    with pytest.raises(
        WindowError, match=r"depth of focus allows: .* deg, limit 22\.9567 deg\. Ask for at least 6 segments"
    ):
        plan_segments(job(segments=segments))


def test_a_full_wrap_is_a_whole_turn_of_equal_segments() -> None:
    plan = plan_segments(job_on("80 mm", {"angle": "360 deg"}, window={"half_depth": "0.6 mm", "focus": "balanced"}))
    assert plan.full_wrap
    # 2 arccos(1 - 1.2/40) = 28.14 deg; 360/28.14 = 12.79 -> 13.
    assert plan.count == 13
    assert sum(block.width * block.count for block in plan.blocks) == 1


@pytest.mark.parametrize(("arc", "full"), [("157.07 mm", True), ("157.05 mm", False), ("120 mm", False)])
def test_a_mark_that_nearly_closes_counts_as_a_full_wrap(arc: str, full: bool) -> None:
    # The circumference is 157.0796 mm; a ten-thousandth of it is 0.0157 mm.
    assert plan_segments(job_on("50 mm", {"arc": arc})).full_wrap is full


def test_a_mark_longer_than_the_circumference_is_refused() -> None:
    with pytest.raises(
        PlanError, match=r'longer than .*: 157\.08 mm, limit 157\.08 mm\. Write mark\.angle = "360 deg"'
    ):
        plan_segments(job_on("50 mm", {"arc": "157.08 mm"}))
    with pytest.raises(PlanError, match=r"longer than the part's circumference: 200 mm, limit 157\.08 mm"):
        plan_segments(job_on("50 mm", {"arc": "200 mm"}))


@pytest.mark.parametrize(
    ("diameter", "arc", "told"),
    [
        ("25 mm", "150 mm", r"part\.diameter = 25 mm: the radius in its place\?$"),
        ("2 mm", "150 mm", r"part\.diameter = 2 mm: inches written as millimetres\?$"),
        ("1 mm", "150 mm", r"part\.diameter = 1 mm$"),
    ],
    ids=["half-too-thin", "25-times-too-thin", "more-than-that"],
)
def test_a_mark_longer_than_the_circumference_names_the_slip_that_would_explain_it(
    diameter: str, arc: str, told: str
) -> None:
    with pytest.raises(PlanError, match=told):
        plan_segments(job_on(diameter, {"arc": arc}, window={"half_depth": "0.1 mm"}))


def test_more_segments_than_anyone_marks_are_refused() -> None:
    with pytest.raises(PlanError, match=r"segments needed: .*limit 1e\+06\. Check window and diameter"):
        plan_segments(job_on("1000 m", {"angle": "360 deg"}, window={"half_depth": "2e-6 um"}))
    with pytest.raises(PlanError, match=r"segments needed: .*limit 1e\+06\. Ask for a larger segments\.angle"):
        plan_segments(job_on("1 m", {"angle": "360 deg"}, segments={"angle": "1e-5 deg"}))


@pytest.mark.parametrize(
    ("start", "end", "wrong"),
    # The mark runs from -15 deg (half a segment of 30 deg before zero) to 75 deg.
    [
        ("75 deg", "100 deg", ""),
        ("74 deg", "100 deg", "ends at: 75 deg, limit 74 deg"),
        ("-100 deg", "-15 deg", ""),
        ("-100 deg", "-14 deg", "begins at: -15 deg, limit -14 deg"),
        ("0 deg", "1 deg", "ends at: 75 deg, limit 0 deg"),
        ("100 deg", "344 deg", ""),
        ("100 deg", "346 deg", "begins at: -15 deg, limit -14 deg"),
        ("435 deg", "440 deg", ""),
        ("-400 deg", "-350 deg", "begins at: -15 deg, limit 10 deg"),
        ("74 deg", "346 deg", "begins at: -15 deg, limit -14 deg"),
        ("325 deg", "345 deg", ""),
        ("325 deg", "35 deg", "begins at: -15 deg, limit 35 deg"),
        ("80 deg", "340 deg", ""),
    ],
)
def test_the_mark_keeps_out_of_a_handle_and_its_wrong_end_is_named(start: str, end: str, wrong: str) -> None:
    described = job_on(
        "50 mm",
        {"angle": "90 deg"},
        part={"keep_out": [{"start": start, "end": end}]},
        segments={"count": 3},
        window={"half_depth": "1 mm"},
    )
    if not wrong:
        assert plan_segments(described).count == 3
        return
    with pytest.raises(
        PlanError, match=rf"keep-out arc {start} to {end}: the mark {wrong}.*Move mark\.start_angle or mark\.start_edge"
    ):
        plan_segments(described)


def test_a_handle_across_zero_is_a_plain_arc() -> None:
    part = {"keep_out": [{"start": "325 deg", "end": "35 deg"}]}
    free = job_on("50 mm", {"angle": "290 deg", "start_edge": "35 deg"}, part=part)
    assert free.part.keep_out[0].length == Fraction(70, 360)
    plan = plan_segments(free)
    assert (plan.start, plan.start + plan.total) == (Fraction(35, 360), Fraction(325, 360))
    with pytest.raises(PlanError, match=r"325 deg to 35 deg: the mark ends at: 325\.5 deg, limit 325 deg"):
        plan_segments(job_on("50 mm", {"angle": "290 deg", "start_edge": "35.5 deg"}, part=part))


@pytest.mark.parametrize(
    "segments",
    [{"count": 4}, {"angle": "20 deg"}, {"angle": "100 deg"}, {"seams": "in-gaps"}],
    ids=["count", "angle", "one segment", "gaps"],
)
def test_the_mark_begins_at_its_edge_where_that_is_stated(segments: dict[str, Any]) -> None:
    gaps = [{"at": "10 mm", "width": "2 mm"}, {"at": "19 mm", "width": "2 mm"}, {"at": "27 mm", "width": "2 mm"}]
    mark = {"angle": "70 deg", "gaps": gaps}
    window = {"half_depth": "6 mm"}
    edge = plan_segments(job_on("50 mm", mark | {"start_edge": "-12 deg"}, segments=segments, window=window))
    middle = plan_segments(job_on("50 mm", mark | {"start_angle": "-12 deg"}, segments=segments, window=window))
    assert edge.start == Fraction(-12, 360)
    assert middle.start == Fraction(-12, 360) - middle.blocks[0].width / 2
    assert [block.width for block in edge.blocks] == [block.width for block in middle.blocks]


def test_a_tape_around_the_part_gives_the_plan_that_its_diameter_gives() -> None:
    taped = job_on("50 mm", {"arc": "60 mm"}, part={"diameter": None, "circumference": "157.07963267948966 mm"})
    assert taped.part.diameter.exact * PI == Fraction("157.07963267948966") / 1000
    assert taped.part.diameter.si == pytest.approx(0.05, rel=1e-15)
    assert plan_segments(taped).arcs() == pytest.approx(plan_segments(job()).arcs())
    # 60 mm of 157.08 mm is that part of a turn, exactly: no pi is left in it.
    assert plan_segments(taped).total == Fraction(60) / Fraction("157.07963267948966")


def test_a_full_wrap_cannot_miss_a_handle() -> None:
    described = job_on("50 mm", {"angle": "360 deg"}, part={"keep_out": [{"start": "10 deg", "end": "11 deg"}]})
    with pytest.raises(PlanError, match=r"runs into the keep-out arc 10 deg to 11 deg"):
        plan_segments(described)


def test_the_choice_says_what_one_fewer_would_cost_in_sag_and_one_more_in_seams() -> None:
    choice = explain_choice(plan_segments(job()))
    assert (choice.chosen.count, choice.chosen.seams, choice.binding) == (6, 5, "depth of focus")
    assert choice.fewer is not None
    # One fewer: 12 mm each, half-angle 0.24 rad, sag 25*(1 - cos 0.24) = 0.71655 mm; one more: 6 seams.
    assert choice.fewer.sag == pytest.approx(0.71655e-3, rel=1e-4)
    assert choice.fewer.seams == 4
    assert (choice.more.count, choice.more.seams) == (7, 6)
    text = " ".join(choice.sentences)
    assert "6 segments (fewest equal segments), the widest 22.92 deg = 10.00 mm; at most 22.96 deg" in text
    assert "0.217 mm outside the window and fade" in text
    assert "6 seams instead of 5" in text
    assert "focal plane" not in text


def test_a_full_wrap_has_as_many_seams_as_segments() -> None:
    choice = explain_choice(plan_segments(job_on("80 mm", {"angle": "360 deg"})))
    assert choice.chosen.seams == choice.chosen.count
    assert choice.more.seams == choice.chosen.count + 1


def test_the_choice_says_where_a_balanced_focus_goes() -> None:
    # 5 segments of 12 mm: sag 0.71655 mm, focal plane half of it below the crown.
    sentences = explain_choice(plan_segments(job(window={"focus": "balanced"}))).sentences
    assert "Set the focal plane 0.358 mm below the crown." in sentences


def test_more_segments_than_needed_are_called_so() -> None:
    text = " ".join(explain_choice(plan_segments(job(segments={"count": 9}))).sentences)
    assert "9 segments (segment count asked for)" in text
    assert "One fewer would still fit" in text


def test_one_segment_has_no_fewer() -> None:
    choice = explain_choice(plan_segments(job(mark={"arc": "5 mm"})))
    assert choice.fewer is None
    assert choice.chosen.seams == 0


def test_one_fewer_may_fail_at_the_lens_field_and_not_at_the_depth() -> None:
    # Field 8 mm on 50 mm: 2 asin(0.16) = 18.41 deg, narrower than the depth's 22.96 deg; 137.51/18.41 -> 8 segments.
    choice = explain_choice(plan_segments(job(window={"lens_field": "8 mm"})))
    assert choice.chosen.count == 8
    assert choice.binding == "lens field"
    assert any("wider than the lens field allows" in sentence for sentence in choice.sentences)


def test_angles_are_exact_fractions_of_a_turn() -> None:
    plan = plan_segments(job(segments={"count": 6}))
    (block,) = plan.blocks
    assert block.pitch == Fraction(10, 50) / PI
    assert block.first == 0
