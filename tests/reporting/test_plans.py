"""Segments, seams and moves: the document's figures and units are those of the plan."""

from __future__ import annotations

import csv
import io
import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from firmware_host.model import load_job
from firmware_host.planning.layout.choice import explain_choice
from firmware_host.planning.layout.seams import TrueSizes
from firmware_host.planning.plan import plan_layout
from firmware_host.reporting.plans.moves import moves_document
from firmware_host.reporting.plans.segments import segments_document
from firmware_host.reporting.render.csv import csv_text
from firmware_host.reporting.render.json import json_document
from tests.reporting.shown import JOBS, behind, column_of, figure, shipped, texts_of

ROUNDING = "microstep rounding, at most"


@pytest.mark.parametrize("job", JOBS)
def test_the_segments_are_those_of_the_plan_in_degrees_and_millimetres(job: str) -> None:
    layout = shipped(job)[1].layout
    document = segments_document(layout)
    segments, seams, budget = document.tables[:3]
    assert column_of(segments, "index") == list(range(1, layout.segments.count + 1))
    assert column_of(segments, "centre_deg") == layout.segments.centres_deg().tolist()
    assert column_of(segments, "arc_mm") == (layout.segments.arcs() * 1e3).tolist()
    assert [column.header for column in segments.columns] == [
        "segment", "from deg", "to deg", "centre deg", "arc mm", "microstep"
    ]  # fmt: skip
    assert texts_of(segments, "microstep") == [str(t) for t in layout.route.segment_targets().tolist()]
    values = json_document(document)
    for row in values["segments"]:
        assert set(row) == {"index", "start_deg", "end_deg", "centre_deg", "arc_mm"}
        assert row["end_deg"] - row["start_deg"] <= values["max_segment_deg"] * (1 + 1e-9)
        assert row["centre_deg"] == pytest.approx((row["start_deg"] + row["end_deg"]) / 2)
    for left, right in itertools.pairwise(values["segments"]):
        assert left["end_deg"] == pytest.approx(right["start_deg"], abs=1e-9)
    keys = ["at_deg", "predicted_gap_mm", "uncertainty_mm", "lowest_gap_mm", "highest_gap_mm"]
    keys += ["thick_edge_gap_mm", "thin_edge_gap_mm"] if job == "tumbler-wrap" else []
    assert all(list(seam) == keys for seam in values["seams"])
    worst = {cause.name: cause.worst * 1e3 for cause in layout.seams.causes if cause.worst > 0}
    assert [max(-row["lowest_mm"], row["highest_mm"]) for row in values["budget"]] == [
        pytest.approx(worst[name]) for name in column_of(budget, "name")
    ]
    assert list(column_of(budget, "name")) == sorted(worst, key=lambda name: -worst[name])
    total = sum(row["lowest_mm"] for row in values["budget"])
    assert min(row["lowest_gap_mm"] for row in values["seams"]) >= total - 1e3 * layout.seams.terms[ROUNDING]
    assert len(seams.rows) == layout.segments.count - 1 + values["closing_seam"]
    assert column_of(seams, "predicted_gap_mm") == (layout.seams.gap * 1e3).tolist()
    assert column_of(seams, "uncertainty_mm") == (layout.seams.uncertainty * 1e3).tolist()


@pytest.mark.parametrize("job", JOBS)
def test_the_figures_of_the_window_have_their_units(job: str) -> None:
    layout = shipped(job)[1].layout
    document, window = segments_document(layout), layout.segments.window
    told = {key: (figure(document, key).value, figure(document, key).unit) for key in (
        "max_segment_deg", "sag_mm", "sag_limit_mm", "count", "focus", "bound_by"
    )}  # fmt: skip
    assert told == {
        "max_segment_deg": (window.widest_deg, "deg"),
        "sag_mm": (layout.segments.sag() * 1e3, "mm"),
        "sag_limit_mm": (window.sag_limit * 1e3, "mm"),
        "count": (layout.segments.count, ""),
        "focus": (window.focus, ""),
        "bound_by": (window.binding.name, ""),
    }
    depth = figure(document, "focal_plane_below_crown_mm")
    assert depth.unit == "mm"
    # On the tumbler's thick edge, 41.06 mm in radius where the middle has 40 mm, the sag is that much larger.
    largest = layout.segments.sag() * (1 + 30 * 6 / 170 / 40 if job == "tumbler-wrap" else 1)
    assert depth.value == pytest.approx(largest * 1e3 / 2 if window.focus == "balanced" else 0)
    assert json_document(document)["why"] == list(explain_choice(layout.segments).sentences)


def test_a_terminal_shows_why_the_seams_and_their_budget() -> None:
    layout = shipped("bottle-band")[1].layout
    lines = behind(segments_document(layout)).splitlines()
    assert lines[0] == explain_choice(layout.segments).sentences[0]
    assert [lines[lines.index("Segments") + 2].split()[:3]] == [["1", "-13.846", "13.846"]]
    seams, place = layout.seams, lines.index("Seams (+ is a gap, - an overlap)") + 2
    first = [f"{seams.gap[0] * 1e3:+.4f}", f"{seams.uncertainty[0] * 1e3:.4f}"]
    assert lines[place].split()[:4] == ["1", "13.846", *first]
    last = [f"{seams.lowest[-1] * 1e3:+.4f}", f"{seams.highest[-1] * 1e3:+.4f}"]
    assert any(line.split()[:3] == ["13,", "closing", "346.154"] and line.split()[-2:] == last for line in lines)
    low, high = -seams.lowest.min() * 1e3, seams.highest.max() * 1e3
    answer = f"At the seams, from {low:.3f} mm of overlap to {high:.3f} mm of gap."
    shows = "A seam shows from 0.030 mm (half the spot; common practice): 13 of 13 seams may show."
    assert f"{answer} {shows}" in lines
    assert lines.index(f"{answer} {shows}") < lines.index("Segments")
    largest = max(seams.causes, key=lambda cause: cause.worst)
    most = f"The most comes from {largest.name}: {largest.worst * 1e3:.3f} mm. {largest.remedy}."
    assert most in lines
    assert lines[-2:] == list(layout.seams.warnings)


def test_without_a_spot_the_document_asks_for_it_and_a_sure_seam_does_not_show() -> None:
    layout = shipped("shaft-scale")[1].layout
    asked = replace(layout, seams=replace(layout.seams, tolerance=None))
    assert "Give window.spot_diameter to learn whether a seam will show." in behind(segments_document(asked))
    sure = replace(layout.seams, tolerance=1.0)
    assert "no seam should show." in behind(segments_document(replace(layout, seams=sure)))
    wide, sharp = np.array([0, 2e-3, 0, 0, 0.0]), np.zeros(5)
    some = replace(layout.seams, tolerance=1e-3, gap=wide, below=sharp, above=sharp)
    assert ": 1 of 5 seams may show." in behind(segments_document(replace(layout, seams=some)))


@pytest.mark.parametrize(("true", "sign"), [(0.045, -1), (0.055, +1)], ids=["too-thin", "too-thick"])
def test_a_true_diameter_shows_overlaps_or_gaps_of_the_predicted_size(true: float, sign: int) -> None:
    # Circle geometry: the surface travels arc * true/entered, so each 10 mm seam is off by 10 mm * (true/50 - 1).
    document = segments_document(plan_layout(load_job("shaft-scale"), true=TrueSizes(part_diameter=true)))
    half_microstep_mm = math.pi * 55 / 9600
    gaps = column_of(document.tables[1], "predicted_gap_mm")
    assert gaps == pytest.approx([sign * 1.0] * 5, abs=half_microstep_mm)
    shown = texts_of(document.tables[1], "gap")
    assert all(text[0] == ("+" if sign > 0 else "-") for text in shown)


@pytest.mark.parametrize("job", JOBS)
def test_the_moves_stand_one_behind_the_other_and_take_their_time(job: str) -> None:
    plan = shipped(job)[1]
    document = moves_document(plan.program)
    values = json_document(document)
    standing = 0
    for number, move in enumerate(values["moves"], 1):
        assert list(move) == [
            "segment", "target_microstep", "delta_microsteps", "angle_deg", "duration_s", "via_microstep"
        ]  # fmt: skip
        assert move["segment"] == number
        assert move["target_microstep"] - standing == move["delta_microsteps"]
        assert (move["duration_s"] > 0) == (move["delta_microsteps"] != 0 or move["via_microstep"] is not None)
        standing = move["target_microstep"]
    assert [move["target_microstep"] for move in values["moves"]] == plan.route.segment_targets().tolist()
    assert (figure(document, "speed_deg_per_s").value, figure(document, "speed_deg_per_s").unit) == (
        math.degrees(plan.program.speed),
        "deg/s",
    )
    assert figure(document, "acceleration_deg_per_s2").unit == "deg/s^2"
    assert figure(document, "one_side_approach").value == plan.route.one_side


@pytest.mark.parametrize(("job", "exact"), [("shaft-scale", "9600"), ("bottle-band", "2560000/127")], ids=["", "inch"])
def test_the_number_of_microsteps_per_turn_is_exact(job: str, exact: str) -> None:
    # By hand: chuck 200 * 16 * 60/20; rollers 200 * 32 * 80/25.4 = 2560000/127.
    document = moves_document(shipped(job)[1].program)
    assert figure(document, "microsteps_per_part_revolution").value == exact


@pytest.mark.parametrize("job", ["shaft-scale", "bottle-band", "sleeve-label"])
def test_terminal_json_and_csv_of_the_moves_show_the_same_numbers(job: str) -> None:
    document = moves_document(shipped(job)[1].program)
    values = json_document(document)
    rows = list(csv.DictReader(io.StringIO(csv_text(document.tables[0]))))
    assert [{key: "" if value is None else str(value) for key, value in row.items()} for row in values["moves"]] == rows
    shown = {line.split()[0]: line.split() for line in behind(document).splitlines()[2:]}
    for move in (values["moves"][0], values["moves"][-1]):
        line = shown[str(move["segment"])]
        assert line[1:5] == [
            str(move["target_microstep"]),
            f"{move['delta_microsteps']:+d}",
            f"{move['angle_deg']:.4f}",
            f"{move['duration_s']:.3f}",
        ]
    if values["finish"] is not None:
        assert shown["finish"][1] == str(values["finish"]["target_microstep"])
        assert set(values["finish"]) == {"target_microstep", "delta_microsteps", "angle_deg", "duration_s"}
