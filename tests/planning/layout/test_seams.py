"""Predicted seams against marks laid on a true part by an independent little simulation."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from firmware_host.model.job.job import Job
from firmware_host.model.machine.machine import Machine
from firmware_host.planning.layout.seams import (
    Seams,
    TrueSizes,
    lost_motion_matters,
    predict_seams,
    seam_terms,
    seam_tolerance,
)
from firmware_host.planning.layout.segments import plan_segments
from firmware_host.planning.route.moves import segment_targets
from tests.planning.workshop import chuck_machine, job_on, roller_machine

WIDE = {"half_depth": "4 mm", "spot_diameter": "0.05 mm", "flat_field_corrected": True, "telecentric": True}


@dataclass(frozen=True)
class MarkedPart:
    """What a laser leaves on the true part: where each segment begins and ends on the unrolled surface, mm."""

    begins: np.ndarray
    ends: np.ndarray
    circumference: float

    def signed_gaps(self, *, closing: bool) -> np.ndarray:
        gaps = self.begins[1:] - self.ends[:-1]
        return np.append(gaps, self.begins[0] + self.circumference - self.ends[-1]) if closing else gaps

    def bare_and_marked_twice(self) -> tuple[float, float]:
        """Length of surface with no mark and with one mark too many, by walking around the circle, mm."""
        places = np.concatenate([self.begins, self.ends]) % self.circumference
        places = np.unique(np.concatenate([[0.0, self.circumference], places]))
        middles = (places[1:] + places[:-1]) / 2
        lengths = np.diff(places)
        marks = np.zeros_like(middles)
        for begin, end in zip(self.begins, self.ends, strict=True):
            marks += (middles - begin) % self.circumference < end - begin
        return float(lengths[marks == 0].sum()), float((lengths * np.maximum(marks - 1, 0)).sum())


def mark(travel_mm: np.ndarray, arcs_mm: np.ndarray, true_diameter_mm: float) -> MarkedPart:
    """The laser marks the artwork's own arc, in mm, centred on the crown, after each move of the surface."""
    return MarkedPart(travel_mm - arcs_mm / 2, travel_mm + arcs_mm / 2, math.pi * true_diameter_mm)


def chuck_travel(targets: np.ndarray, microsteps_per_turn: float, true_diameter_mm: float) -> np.ndarray:
    """A chuck turns the part by an angle: the surface goes along with the true radius."""
    return targets / microsteps_per_turn * math.pi * true_diameter_mm


def roller_travel(targets: np.ndarray, microsteps_per_roller_turn: float, true_roller_mm: float) -> np.ndarray:
    """A roller lets its own circumference run off, whatever lies on it."""
    return targets / microsteps_per_roller_turn * math.pi * true_roller_mm


def predicted(
    machine: Machine, job: Job, true: TrueSizes, *, one_side: bool = True
) -> tuple[np.ndarray, np.ndarray, Seams]:
    """Targets, planned arcs in mm, and the seams predicted for the true sizes."""
    plan = plan_segments(job)
    targets = segment_targets(plan, machine.microsteps_per_part_turn(job.part.contact))
    return targets, plan.arcs() * 1e3, predict_seams(machine, job, plan, targets, one_side=one_side, true=true)


FULL: dict[str, Any] = {"angle": "360 deg"}
PARTIAL: dict[str, Any] = {"angle": "130 deg", "start_angle": "33 deg"}


@pytest.mark.parametrize("mark_around", [FULL, PARTIAL], ids=["full-wrap", "partial"])
@pytest.mark.parametrize(
    "true_mm", [45.454545, 50.0, 55.555556], ids=["entered-too-large", "right", "entered-too-small"]
)
def test_a_chuck_with_a_wrong_part_diameter(mark_around: dict[str, Any], true_mm: float) -> None:
    machine = chuck_machine(gearing=[{"driving_teeth": 20, "driven_teeth": 60}])
    job = job_on("50 mm", mark_around, segments={"count": 13}, window=WIDE)
    targets, arcs, seams = predicted(machine, job, TrueSizes(part_diameter=true_mm / 1e3))
    part = mark(chuck_travel(targets, 9600, true_mm), arcs, true_mm)
    full = mark_around is FULL
    assert seams.closing is full
    assert seams.gap * 1e3 == pytest.approx(part.signed_gaps(closing=full), abs=1e-9)
    # The rule: a*(D_true/D_entered - 1) at each seam, here to a microstep of the true surface.
    rule = arcs[0] * (true_mm / 50 - 1)
    assert np.abs(seams.gap * 1e3 - rule).max() <= math.pi * true_mm / 9600
    if true_mm > 50:
        assert (seams.gap > 0).all()
    if true_mm < 50:
        assert (seams.gap < 0).all()


@pytest.mark.parametrize("mark_around", [FULL, PARTIAL], ids=["full-wrap", "partial"])
@pytest.mark.parametrize(
    "true_roller_mm", [23.090909, 25.4, 28.222222], ids=["entered-too-large", "right", "entered-too-small"]
)
def test_rollers_with_a_wrong_roller_diameter(mark_around: dict[str, Any], true_roller_mm: float) -> None:
    job = job_on("80 mm", mark_around, segments={"count": 11}, window=WIDE)
    targets, arcs, seams = predicted(roller_machine(), job, TrueSizes(roller_diameter=true_roller_mm / 1e3))
    part = mark(roller_travel(targets, 6400, true_roller_mm), arcs, 80.0)
    full = mark_around is FULL
    assert seams.gap * 1e3 == pytest.approx(part.signed_gaps(closing=full), abs=1e-9)
    rule = arcs[0] * (true_roller_mm / 25.4 - 1)
    inner = seams.gap[:-1] if full else seams.gap
    assert np.abs(inner * 1e3 - rule).max() <= math.pi * true_roller_mm / 6400
    if full:
        # What the ten seams gained, the closing seam lacks.
        assert seams.gap[-1] * 1e3 == pytest.approx(-10 * rule, abs=0.02)


@pytest.mark.parametrize(
    "true_mm", [72.727273, 80.0, 88.888889], ids=["entered-too-large", "right", "entered-too-small"]
)
def test_rollers_with_a_wrong_part_diameter_show_it_in_the_closing_seam_only(true_mm: float) -> None:
    job = job_on("80 mm", FULL, segments={"count": 11}, window=WIDE)
    targets, arcs, seams = predicted(roller_machine(), job, TrueSizes(part_diameter=true_mm / 1e3))
    part = mark(roller_travel(targets, 6400, 25.4), arcs, true_mm)
    assert seams.gap * 1e3 == pytest.approx(part.signed_gaps(closing=True), abs=1e-9)
    assert np.abs(seams.gap[:-1] * 1e3).max() <= math.pi * 25.4 / 6400
    assert seams.gap[-1] * 1e3 == pytest.approx(math.pi * (true_mm - 80), abs=0.013)


@pytest.mark.parametrize(
    ("machine", "entered", "true", "travel"),
    [
        pytest.param(
            chuck_machine(), "50 mm", (45.0, None), lambda t: chuck_travel(t, 3200, 45.0), id="chuck-too-large"
        ),
        pytest.param(
            chuck_machine(), "50 mm", (55.0, None), lambda t: chuck_travel(t, 3200, 55.0), id="chuck-too-small"
        ),
        pytest.param(
            roller_machine(), "80 mm", (72.0, None), lambda t: roller_travel(t, 6400, 25.4), id="part-too-large"
        ),
        pytest.param(
            roller_machine(), "80 mm", (88.0, None), lambda t: roller_travel(t, 6400, 25.4), id="part-too-small"
        ),
        pytest.param(
            roller_machine(), "80 mm", (80.0, 27.94), lambda t: roller_travel(t, 6400, 27.94), id="roller-too-small"
        ),
    ],
)
def test_the_bare_and_the_twice_marked_surface_add_up_to_the_predicted_seams(
    machine: Machine, entered: str, true: tuple[float, float | None], travel: Any
) -> None:
    job = job_on(entered, FULL, segments={"count": 9}, window=WIDE | {"half_depth": "8 mm"})
    roller = true[1] / 1e3 if true[1] is not None else None
    targets, arcs, seams = predicted(machine, job, TrueSizes(true[0] / 1e3, roller))
    bare, twice = mark(travel(targets), arcs, true[0]).bare_and_marked_twice()
    assert bare == pytest.approx(seams.gap[seams.gap > 0].sum() * 1e3, abs=1e-6)
    assert twice == pytest.approx(-seams.gap[seams.gap < 0].sum() * 1e3, abs=1e-6)
    assert max(bare, twice) > 1.0


def test_slip_makes_every_seam_overlap_by_its_part_of_the_arc() -> None:
    machine = roller_machine(drive={"slip": 0.02})
    job = job_on("80 mm", PARTIAL, segments={"count": 5}, window=WIDE)
    targets, arcs, seams = predicted(machine, job, TrueSizes())
    part = mark(roller_travel(targets, 6400, 25.4) * 0.98, arcs, 80.0)
    assert seams.gap * 1e3 == pytest.approx(part.signed_gaps(closing=False), abs=1e-9)
    assert (seams.gap < 0).all()


def test_with_sizes_as_entered_only_the_rounding_of_microsteps_is_left() -> None:
    job = job_on("50 mm", FULL, segments={"count": 13}, window=WIDE)
    _, _, seams = predicted(chuck_machine(), job, TrueSizes())
    microstep = math.pi * 50e-3 / 3200
    assert 0 < np.abs(seams.gap).max() <= microstep
    assert seams.gap.sum() == pytest.approx(0, abs=1e-12)


def test_each_seam_stands_between_its_two_segments() -> None:
    job = job_on("50 mm", PARTIAL, segments={"count": 4}, window=WIDE | {"half_depth": "6 mm"})
    _, _, seams = predicted(chuck_machine(), job, TrueSizes())
    assert seams.at_deg.tolist() == pytest.approx([33 + 16.25, 33 + 48.75, 33 + 81.25])
    full = job_on("50 mm", FULL, segments={"count": 8}, window=WIDE | {"half_depth": "6 mm"})
    _, _, around = predicted(chuck_machine(), full, TrueSizes())
    assert around.at_deg.tolist() == pytest.approx([22.5 + 45 * k for k in range(8)])


def test_the_terms_of_the_budget_by_hand() -> None:
    # 9600 microsteps, 600 full steps per turn of a 50 mm part: a microstep is 157.0796/9600 = 0.0163625 mm and a full
    # step 0.2617994 mm, 5 % of which at both ends is 0.0261799 mm.
    machine = chuck_machine(gearing=[{"ratio": "3", "lost_motion": "0.02 deg"}])
    job = job_on("50 mm", PARTIAL, segments={"count": 13, "diameter_uncertainty": "0.1 mm"}, window=WIDE)
    terms = seam_terms(machine, job)
    assert terms["microstep rounding, at most"] * 1e3 == pytest.approx(0.0163625, rel=1e-5)
    assert terms["motor step accuracy, both ends"] * 1e3 == pytest.approx(0.0261799, rel=1e-5)
    _, arcs, seams = predicted(machine, job, TrueSizes(), one_side=False)
    # a*dD/D = 4.36332 mm * 0.1/50 = 0.00872665 mm; lost motion 0.02/360*157.0796 = 0.00872665 mm at the first seam.
    assert arcs[0] == pytest.approx(4.36332, rel=1e-5)
    assert seams.uncertainty[1:] * 1e3 == pytest.approx(0.0261799 + 0.00872665, rel=1e-5)
    assert seams.uncertainty[0] * 1e3 == pytest.approx(0.0261799 + 2 * 0.00872665, rel=1e-5)
    _, _, from_below = predicted(machine, job, TrueSizes(), one_side=True)
    assert from_below.uncertainty[0] == from_below.uncertainty[1]


def test_the_closing_seam_on_rollers_is_unsure_by_the_whole_circumference() -> None:
    # dD = 0.05 mm on 80 mm: pi*0.05 = 0.15708 mm, and the roller's own 0.01/25.4 over 10/11 of 251.327 mm = 0.0899535.
    machine = roller_machine(drive={"roller_diameter_uncertainty": "0.01 mm"})
    job = job_on("80 mm", FULL, segments={"count": 11, "diameter_uncertainty": "0.05 mm"}, window=WIDE)
    _, _, seams = predicted(machine, job, TrueSizes())
    steady = 0.1 * math.pi * 25.4 / 200
    assert seams.uncertainty[-1] * 1e3 == pytest.approx(steady + 0.1570796 + 0.0899535, rel=1e-5)
    assert seams.uncertainty[0] * 1e3 == pytest.approx(steady + 0.01 / 25.4 * math.pi * 80 / 11, rel=1e-5)


def test_the_closing_seam_in_a_chuck_is_unsure_like_any_other() -> None:
    job = job_on("80 mm", FULL, segments={"count": 11, "diameter_uncertainty": "0.05 mm"}, window=WIDE)
    _, _, seams = predicted(chuck_machine(), job, TrueSizes())
    assert seams.uncertainty == pytest.approx(np.full(11, seams.uncertainty[0]))


def test_a_seam_shows_when_gap_and_uncertainty_pass_half_the_spot() -> None:
    # Half of 0.05 mm is 0.025 mm (common practice, no source); the step accuracy of a motor at 1:1 alone is 0.0785 mm.
    job = job_on("50 mm", PARTIAL, segments={"count": 13}, window=WIDE)
    assert seam_tolerance(job) == pytest.approx(0.025e-3)
    _, _, coarse = predicted(chuck_machine(), job, TrueSizes())
    assert coarse.showing().all()
    fine = chuck_machine(gearing=[{"ratio": "60"}])
    _, _, seams = predicted(fine, job, TrueSizes())
    assert not seams.showing().any()
    _, _, wrong = predicted(fine, job, TrueSizes(part_diameter=51e-3))
    assert wrong.showing().all()


def test_without_a_spot_no_seam_is_said_to_show() -> None:
    job = job_on("50 mm", PARTIAL, segments={"count": 13}, window={"half_depth": "4 mm"})
    _, _, seams = predicted(chuck_machine(), job, TrueSizes())
    assert seams.tolerance is None
    assert not seams.showing().any()


@pytest.mark.parametrize(
    ("lost_motion", "spot", "matters"),
    # At 60:1 rounding (at most 0.000818 mm) and step accuracy (0.001309 mm) leave 0.022873 mm of 0.025 mm; on 50 mm
    # that is 0.05242 deg of lost motion.
    [("0.05 deg", "0.05 mm", False), ("0.054 deg", "0.05 mm", True), ("0.001 deg", None, True), ("0 deg", None, False)],
)
def test_lost_motion_matters_when_the_budget_has_no_room_for_it(
    lost_motion: str, spot: str | None, matters: bool
) -> None:
    machine = chuck_machine(gearing=[{"ratio": "60", "lost_motion": lost_motion}])
    job = job_on("50 mm", PARTIAL, window={"half_depth": "4 mm"} | ({"spot_diameter": spot} if spot else {}))
    assert lost_motion_matters(machine, job) is matters


def test_the_warnings_say_which_way_a_wrong_diameter_shows() -> None:
    job = job_on("80 mm", FULL, segments={"count": 11}, window=WIDE)
    _, _, on_rollers = predicted(roller_machine(), job, TrueSizes())
    # 80 mm in 11: 22.848 mm each, 0.228 mm for every per cent.
    assert on_rollers.warnings[0].startswith("If the roller diameter entered is too large, the part turns too little")
    assert "marks overlap; too small, gaps open: 0.228 mm at each seam for every 1 %" in on_rollers.warnings[0]
    assert "only the closing seam overlaps; too small, it gapes: 3.142 mm for every 1 mm" in on_rollers.warnings[1]
    _, _, in_a_chuck = predicted(chuck_machine(), job, TrueSizes())
    assert len(in_a_chuck.warnings) == 1
    assert in_a_chuck.warnings[0].startswith("If the part diameter entered is too large")


def test_one_segment_has_no_seam_unless_it_goes_all_around() -> None:
    single = job_on("50 mm", {"angle": "10 deg"}, window=WIDE)
    _, _, seams = predicted(chuck_machine(), single, TrueSizes())
    assert seams.gap.size == 0
    assert not seams.closing
