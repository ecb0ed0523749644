"""What each cause does to the seams, beside a part that was really marked so; and how well its size is told."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from firmware_host.commissioning.estimates.measured import NORMAL_95
from firmware_host.commissioning.seam.causes import CAUSES, Cause
from firmware_host.commissioning.seam.diagnosis import diagnose
from firmware_host.commissioning.seam.marked import marked_part
from firmware_host.commissioning.seam.readings import PartDiameter, SeamReading
from firmware_host.planning.plan import plan_layout
from tests.commissioning.seam.cases import draw_case, in_a_chuck, on_rollers, parts
from tests.commissioning.seam.true_part import Fault, mark

SMALL = 1e-4
FAULTS = {
    "part-diameter": (Fault(part=SMALL), (SMALL,)),
    "roller-diameter": (Fault(roller=SMALL), (SMALL,)),
    "ratio": (Fault(ratio=SMALL), (SMALL,)),
    "slip": (Fault(slip=SMALL), (SMALL,)),
    "marked-width": (Fault(drawn=SMALL), (SMALL,)),
    "lost-motion": (Fault(lost_motion=1e-6), (1e-6,)),
    "run-out": (Fault(run_out=1e-6, run_out_at=0.0), (1e-6, 0.0)),
    "cone": (Fault(cone=SMALL), (SMALL,)),
}
BY_KEY = {cause.key: cause for cause in CAUSES}


@pytest.mark.parametrize("key", FAULTS)
def test_a_cause_opens_each_seam_by_what_the_true_part_shows(key: str) -> None:
    cause, (fault, amounts) = BY_KEY[key], FAULTS[key]
    marked = [(marked_part(setup, layout), setup, layout) for setup, layout in parts()]
    able = [each for each in marked if cause.applies(each[0])]
    assert len(able) >= 4
    for part, setup, layout in able:
        right, wrong = mark(setup, layout, Fault()), mark(setup, layout, fault)
        for seam in range(1, right.seams + 1):
            for place in (-1, 0, 1):
                opened = wrong.gap(seam, place) - right.gap(seam, place)
                foreseen = sum(a * b for a, b in zip(cause.at_seam(part, seam - 1, place), amounts, strict=True))
                assert opened == pytest.approx(foreseen, rel=1e-3, abs=2e-9), (seam, place)


def test_run_out_is_told_in_size_whichever_way_it_points() -> None:
    setup, layout = parts()[0]
    part = marked_part(setup, layout)
    true = mark(setup, layout, Fault(run_out=0.6e-3, run_out_at=1.9))
    found = diagnose(setup, part, [SeamReading(2e-5, true.gap(seam), seam) for seam in range(1, true.seams + 1)])
    assert found.suspects[0].key == "run-out"
    assert found.suspects[0].amount == pytest.approx(0.6e-3, rel=0.02)


@pytest.mark.parametrize("cases", [pytest.param(60, id="60"), pytest.param(600, id="600", marks=pytest.mark.slow)])
def test_the_size_of_what_is_wrong_lies_in_its_interval_in_nineteen_cases_of_twenty(cases: int) -> None:
    rng = random.Random(5)
    inside = told = 0
    while told < cases:
        case = draw_case(rng)
        if case.key == "run-out":  # two amounts, of which the length is told
            continue
        found = diagnose(case.setup, case.part, case.seams(rng))
        suspect = next(each for each in found.suspects if each.key == case.key)
        if suspect.amount is None or suspect.within is None:
            continue
        true = sum(getattr(case.fault, name) for name in vars(Fault()) if name != "run_out_at")
        told += 1
        inside += abs(suspect.amount - true) <= suspect.within
    assert 0.9 * cases <= inside <= 0.995 * cases


def test_a_reading_that_was_taken_more_closely_narrows_the_interval_as_much() -> None:
    setup, layout = parts()[0]
    part = marked_part(setup, layout)

    def within(read_to: float) -> float:
        found = diagnose(setup, part, [PartDiameter(read_to, part.diameter + 2e-3)])
        assert found.suspects[0].key == "part-diameter"
        return found.suspects[0].within or 0.0

    assert within(1e-4) == pytest.approx(NORMAL_95 * 1e-4 / 3**0.5 / part.diameter)
    assert within(1e-4) == pytest.approx(2 * within(5e-5))


def test_the_one_who_measures_a_right_part_is_told_that_nothing_is_proved_wrong() -> None:
    rng = random.Random(3)
    for setup, layout in parts():
        part, true = marked_part(setup, layout), mark(setup, layout, Fault())
        readings = [
            SeamReading(5e-5, true.gap(seam) + rng.uniform(-5e-5, 5e-5), seam) for seam in range(1, true.seams + 1)
        ]
        assert not diagnose(setup, part, readings).proved


def test_two_things_wrong_at_once_are_not_taken_for_one() -> None:
    setup, layout = parts()[0]
    true = mark(setup, layout, Fault(run_out=1e-3, lost_motion=1.5e-3, part=0.03))
    readings = [SeamReading(2e-5, true.gap(seam), seam) for seam in range(1, true.seams + 1)]
    assert not diagnose(setup, marked_part(setup, layout), readings).suspects[0].fits


def test_slip_and_lost_motion_never_come_out_negative() -> None:
    """Marks that lie apart at every seam: the part went too far, and slipping never does that."""
    setup = on_rollers(True, 40, 8)
    layout = plan_layout(setup)
    part = marked_part(setup, layout)
    readings = [SeamReading(5e-5, 0.3e-3, seam) for seam in range(1, part.inner + 1)]
    found = diagnose(setup, part, readings)
    assert "slip" not in found.alike
    assert all((each.amount or 0.0) >= 0 for each in found.suspects if each.key in ("slip", "lost-motion"))


def test_the_known_gap_of_artwork_drawn_flat_is_no_fault() -> None:
    """Drawn flat, strips of 12 mm on a 40 mm part overlap by r asin(w/2r) - w/2 at each of two edges: 0.099 mm."""
    setup = in_a_chuck(True, 40, 8).with_values({"window.flat_field_corrected": False})
    layout = plan_layout(setup)
    part = marked_part(setup, layout)
    readings = [SeamReading(1e-5, float(gap), seam) for seam, gap in enumerate(part.expected, 1)]
    assert min(part.expected) < -0.2e-3
    assert not diagnose(setup, part, readings).proved


def test_every_cause_has_a_key_of_its_own_and_a_name_that_fits_a_line() -> None:
    assert len({cause.key for cause in CAUSES}) == len(CAUSES)
    assert all(len(cause.name) <= 50 for cause in CAUSES)


def test_a_cause_without_an_effect_on_the_readings_is_told_without_a_size() -> None:
    setup, layout = parts()[0]
    part = marked_part(setup, layout)
    found = diagnose(setup, part, [PartDiameter(5e-5, part.diameter)])
    skew = next(each for each in found.suspects if each.key == "skew")
    assert (skew.amount, skew.within, skew.correction) == (None, None, None)


def test_a_drive_of_the_wrong_kind_is_not_suspected() -> None:
    kinds = {setup.machine.drive.rolls_on_part: marked_part(setup, layout) for setup, layout in parts()}
    assert not BY_KEY["roller-diameter"].applies(kinds[False])
    assert not BY_KEY["run-out"].applies(kinds[True])
    three = replace(kinds[False], pitches=kinds[False].pitches[:2])
    assert not BY_KEY["run-out"].applies(three), "two seams fit any run-out"
    assert all(isinstance(cause, Cause) for cause in CAUSES)
