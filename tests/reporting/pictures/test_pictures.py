"""What the pictures draw, by their artists' data, beside closed forms and the plan's own figures."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from matplotlib.patches import Circle

from firmware_host.planning.limits.check import Verdict
from firmware_host.planning.reliability.estimate import reliability
from firmware_host.reporting.pictures.of_job.budget import torque_parts
from tests.reporting.pictures.subjects import figure, labelled, subject, texts
from tests.reporting.shown import JOBS, shipped


def test_the_crown_is_a_circle_and_the_segments_edges_lie_its_sag_below() -> None:
    drawing, of = figure("end-on", "shaft-scale"), subject("shaft-scale")
    across, below = labelled(drawing, "surface", 1).get_data()
    assert np.hypot(across, below + 25.0) == pytest.approx(np.full(across.size, 25.0))
    marked, depth = labelled(drawing, "the segment being marked", 1).get_data()
    # By hand: six segments of 60 mm on a shaft of 50 mm across, each 10 mm: half of one is 0.2 rad.
    assert marked.max() == pytest.approx(25 * math.sin(0.2), abs=0.05)
    assert -depth.min() == pytest.approx(25 * (1 - math.cos(0.2)), abs=0.01)
    band = labelled(drawing, "marking window", 1)
    assert band.get_y() + band.get_height() == 0
    assert band.get_height() == pytest.approx(of.setup.job.window.half_depth.si * 1e3)  # type: ignore[union-attr]


@pytest.mark.parametrize("job", JOBS)
def test_the_unrolled_segments_lie_where_the_plan_has_them(job: str) -> None:
    drawing, of = figure("unrolled", job), subject(job)
    (strips,) = drawing.axes[0].collections
    corners = np.stack([path.vertices for path in strips.get_paths()])
    widths = np.ptp(corners[:, :, 0], axis=1)
    assert widths == pytest.approx(of.plan.segments.arcs() * 1e3)
    assert corners[0, :, 0].min() == pytest.approx(0.0, abs=1e-9), "from where the mark begins"
    assert corners[-1, :, 0].max() == pytest.approx(widths.sum()), "and one beside the other"
    mark, part = of.setup.job.mark.width, of.setup.job.part.whole_length
    assert np.ptp(corners[:, :, 1], axis=1) == pytest.approx((mark or part).si * 1e3)


@pytest.mark.parametrize("job", JOBS)
def test_each_seam_is_drawn_where_it_lies_with_all_that_it_may_be_off(job: str) -> None:
    drawing, seams = figure("unrolled", job), subject(job).plan.seams
    at, gap = labelled(drawing, "planned", 1).get_data()
    assert gap == pytest.approx(seams.gap * 1e3)
    arcs = subject(job).plan.segments.arcs() * 1e3
    ends = np.cumsum(arcs)
    assert at == pytest.approx(ends[: at.size], abs=1e-6), "at the end of each segment"
    (bars,) = drawing.axes[1].collections
    heights = np.stack([path.vertices[:, 1] for path in bars.get_paths()])
    assert heights.min(axis=1) == pytest.approx(seams.lowest * 1e3)
    assert heights.max(axis=1) == pytest.approx(seams.highest * 1e3)


@pytest.mark.parametrize("job", JOBS)
def test_every_limit_has_its_bar_the_tightest_at_the_top(job: str) -> None:
    drawing, report = figure("margins", job), subject(job).plan.limits
    (axes,) = drawing.axes
    names = [each.get_text() for each in axes.get_yticklabels()]
    known = {check.name: check.margin for check in report.checks}
    assert sorted(names) == sorted(known)
    drawn = dict(zip(names, (bar.get_width() / 100 for bar in axes.patches), strict=False))
    for name, width in drawn.items():
        margin = known[name]
        assert width == pytest.approx(0.0 if margin is None else min(max(margin, -1.0), 1.0))
    assert axes.yaxis_inverted()
    margins = [known[name] for name in names if known[name] is not None]
    assert margins == sorted(margins)  # type: ignore[type-var]
    if report.verdict is Verdict.EXCEEDED:
        assert any(text.startswith(("exceeded, by ", "exceeded, at ")) for text in texts(drawing))
    beside = dict(zip(names, (each.get_text() for each in axes.texts), strict=False))
    for check in report.checks:
        told = beside[check.name]
        assert all(float(share) <= 100 for share in re.findall(r"(\d+)%", told)), told
        if check.margin is not None and check.margin < -1:
            assert told.endswith(f", at {check.value / check.limit:.3g} times the limit")  # type: ignore[operator]
        elif check.margin is not None and check.margin > 1:  # so far above a band that it must not lie in
            assert told == f"holds, at {1 + check.margin:.3g} times the limit"
    assert not any("-" in text for text in texts(drawing)), "no margin below nothing is told as what is left"


def test_the_torque_of_an_index_lies_below_the_motors_by_the_margin_that_limits_tells() -> None:
    drawing, of = figure("torque", "heavy-shaft"), subject("heavy-shaft")
    rpm, needed = labelled(drawing, "needed: speeding up, then at speed").get_data()
    derated_rpm, derated = labelled(drawing, f"over the safety factor {of.load.safety_factor:g}").get_data()
    (check,) = (each for each in of.plan.limits.checks if each.name == "torque-accelerating")
    assert check.margin is not None
    left = np.interp(max(rpm), derated_rpm, derated)
    assert 1 - max(needed) / left == pytest.approx(check.margin, abs=2e-3)
    # A worm of 30:1: 120 deg/s of the part are 600 rev/min of the motor.
    assert max(rpm) == pytest.approx(math.degrees(of.plan.limits.motion.speed) / 6 * of.load.ratio)
    above = drawing.axes[1]
    assert above.get_xlim()[1] == pytest.approx(drawing.axes[0].get_xlim()[1] * 6 / of.load.ratio)


@pytest.mark.some(2)
@pytest.mark.parametrize("job", JOBS)
def test_the_index_covers_its_way_and_swings_within_half_a_microstep_once_the_gate_opens(job: str) -> None:
    drawing, of = figure("index", job), subject(job)
    line, band = drawing.axes[0].lines[0], drawing.axes[0].patches[-1]
    time_ms, speed = line.get_data()
    segments = of.plan.segments.centres_deg()
    longest = np.abs(np.diff(segments)).max() if segments.size > 1 else 0.0
    steps_off = 360 / float(of.plan.route.per_part_turn)
    assert np.trapezoid(speed, time_ms / 1e3) == pytest.approx(longest, abs=steps_off + 0.01 * longest)
    opens_ms = band.get_x()
    ends_ms = time_ms[speed > 0].max()
    assert opens_ms == pytest.approx(ends_ms + of.plan.settle_s * 1e3, abs=2e-3 * time_ms[-1])
    for swung in drawing.axes[1].lines[:2]:
        at, lag = swung.get_data()
        assert np.abs(lag[at >= opens_ms]).max() <= 0.5 * 1.001


@pytest.mark.parametrize("job", JOBS)
def test_the_parts_of_the_torque_add_up_to_what_the_limit_counts(job: str) -> None:
    of = subject(job)
    acceleration = of.plan.limits.motion.acceleration
    whole = sum(value for _, value in torque_parts(of.load, acceleration))
    assert whole == pytest.approx(float(of.load.torque(acceleration).accelerating))
    axes = figure("budget", job).axes[1]
    assert sum(bar.get_width() for bar in axes.patches) == pytest.approx(
        (of.load.rotor_inertia + sum(item.reflected for item in of.load.items)) * 1e7
    )


def test_the_shares_of_the_doubt_are_those_of_the_draws_the_largest_at_the_top() -> None:
    drawing, found = figure("doubt", "heavy-shaft"), reliability(*shipped("heavy-shaft"))
    (axes,) = drawing.axes
    names = [each.get_text() for each in axes.get_yticklabels()]
    assert names == [*(each.input.name.replace("_", " ") for each in found.influences), "several together"]
    widths = [bar.get_width() / 100 for bar in axes.patches]
    assert widths[:-1] == pytest.approx([each.share for each in found.influences])
    assert widths[:-1] == sorted(widths[:-1], reverse=True)
    assert sum(widths) == pytest.approx(1.0, abs=5e-3), "what no datum alone explains is due to several together"
    assert axes.yaxis_inverted()
    assert "torque" not in shipped("heavy-shaft")[0].machine.tolerances.given()
    assert "-10 to +10 %" in texts(drawing)[names.index("torque")], "what nobody states: a tenth either way"


@pytest.mark.parametrize("job", ["bottle-band", "tumbler-wrap"])
def test_part_and_rollers_touch_and_the_forces_carry_the_weight(job: str) -> None:
    (axes,) = figure("rollers", job).axes
    part, *rollers = (each for each in axes.patches if isinstance(each, Circle))
    trough = subject(job).load.trough
    assert trough is not None
    for roller in rollers:
        assert np.hypot(*roller.center) == pytest.approx(part.radius + roller.radius)
    apart = rollers[1].center[0] - rollers[0].center[0]
    assert apart == pytest.approx(trough.centre_distance * 1e3)
    arrows = [each for each in axes.texts if each.get_text() == ""]  # type: ignore[attr-defined]
    weight, *contacts = (np.subtract(each.xy, each.xyann) for each in arrows)  # type: ignore[attr-defined]
    assert np.sum(contacts, axis=0) == pytest.approx(-weight, abs=1e-6 * np.hypot(*weight)), "in equilibrium"
